package page

import "net/url"

// Paths of the screens. The forms post to the paths named at the functions
// below and in Form; links in the templates use the same ones.
const (
	PathHome       = "/"
	PathShots      = "/shots"
	PathAssign     = "/assign"
	PathQuarantine = "/quarantine"
	PathSeen       = "/seen"
	PathConnect    = "/connect"
	PathManual     = "/manual"
	PathLicences   = "/licences"
	PathSignIn     = "/signin"
	PathSignOut    = "/signout" // POST
	PathEquipment  = "/equipment"
	PathCampaigns  = "/campaigns"
	PathAgents     = "/agents"
	PathAccounts   = "/accounts"
	PathLabs       = "/labs"
	PathPassword   = "/password"
	PathAlarms     = "/alarms"
)

// Where the forms post to.
const (
	PostItem        = "/equipment/items"
	PostService     = "/equipment/services"
	PostCalibration = "/equipment/calibrations"
	PostMounting    = "/equipment/mountings"
	PostCampaign    = "/campaigns"
	PostCode        = "/agents/codes"
	PostAccount     = "/accounts"
	PostRevoke      = "/agents/revoke"
	PostLostKey     = "/agents/codes/lost-key"
	PostAnnounceKey = "/agents/server-key/announce"
	PostUseKey      = "/agents/server-key/use"
	PostRole        = "/accounts/roles"
	PostAccess      = "/accounts/access"
	PostPassword    = "/password"
	PostLab         = "/labs"
	PostConnect     = "/connect"
	PostNewKey      = "/connect/key"
	PostTryNow      = "/connect/now"
	PostSignIn      = "/signin"
)

// ShotPath is the screen of one shot; POST to AssignPath(id) assigns it,
// TracesPath(id) serves chart.ServeTraces, SourcePath(id) the original bytes.
func ShotPath(id string) string { return PathShots + "/" + url.PathEscape(id) }

// AssignPath takes the assign form of one shot (POST).
func AssignPath(id string) string { return ShotPath(id) + "/assign" }

// StatedPath computes a shot again by the speed that is recorded (POST).
func StatedPath(id string) string { return ShotPath(id) + "/stated" }

// ShotAssignHref leads to the form on the screen of a shot that AssignPath takes.
func ShotAssignHref(id string) string { return ShotPath(id) + "#assign" }

// TracesPath serves the binary traces of one shot.
func TracesPath(id string) string { return ShotPath(id) + "/traces.bin" }

// SourcePath serves the acquisition's file byte for byte.
func SourcePath(id string) string { return "/api/v1/shots/" + url.PathEscape(id) + "/source" }

// AlarmPath takes that a person has seen an alarm (POST).
func AlarmPath(id string) string { return PathAlarms + "/" + url.PathEscape(id) + "/seen" }

// QuarantinePath serves the original bytes of a quarantined file.
func QuarantinePath(id string) string { return PathQuarantine + "/" + url.PathEscape(id) + "/file" }

// QuarantineOffPath takes a file off the list of those that wait for a person (POST).
func QuarantineOffPath(id string) string { return PathQuarantine + "/" + url.PathEscape(id) + "/off" }

// SeenPath takes the verdict on a file seen again (POST, field "verdict",
// value VerdictSame or VerdictStroke).
func SeenPath(id string) string { return PathSeen + "/" + url.PathEscape(id) }

// The two answers to a file seen again.
const (
	VerdictSame   = "same"
	VerdictStroke = "stroke"
)

// CampaignWhenPath takes where and when a campaign is to be fired.
// CampaignLimitsPath sets the limits of a campaign.
func CampaignLimitsPath(id string) string { return CampaignPath(id) + "/limits" }

func CampaignWhenPath(id string) string { return CampaignPath(id) + "/when" }

// CampaignPath is the screen of one campaign.
func CampaignPath(id string) string { return PathCampaigns + "/" + url.PathEscape(id) }
