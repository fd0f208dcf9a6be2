package page

import (
	"net/url"
	"slices"
	"strings"
)

// Choice is one option of a selection.
type Choice struct{ Value, Text string }

// Form is one form as filled so far. Which fields it has is said by its Fields
// (AssignFields, ServiceFields …); what was typed stands in Values by field
// name and is shown again when Errors names a fault.
type Form struct {
	Action  string            // where it posts to
	Key     string            // idempotency key, hidden field "key": the same key is done once
	Fields  []Field           // what is asked
	Values  map[string]string // by field name
	Errors  map[string]string // by field name: what is wrong and how to fix it
	Choices map[string][]Choice
	Submit  string // text of the button; "Save" when empty
	ID      string // prefix for element ids, unique on the page; "f" when empty
	Hidden  map[string]string
	Fold    string // words for what folds the Extra fields away; empty: none are
}

// Field describes one input.
type Field struct {
	Name     string
	Label    string
	Unit     string
	Kind     string // text, number, select, date, datetime-local, password, pin, area, checkbox, list (text with suggestions)
	Help     string
	Required bool
	Wanted   bool   // may stay empty for now, but the shot counts only with it
	Plain    bool   // whether it is needed depends on other fields, so no word beside the label says it
	Complete string // autocomplete token
	Options  []Choice
	Long     bool // a text that needs the whole width, in letters of one width
	Extra    bool // seldom needed: under the form's Fold, where it has one
}

// Typed takes the fields' values out of a posted form, trimmed, so that they
// can be checked and, when wrong, shown again. Passwords are not trimmed.
func Typed(posted url.Values, fields []Field) map[string]string {
	v := make(map[string]string, len(fields))
	for _, f := range fields {
		if !posted.Has(f.Name) {
			continue // not asked, or an empty box
		}
		s := posted.Get(f.Name)
		if f.Kind != "password" {
			s = strings.TrimSpace(s)
		}
		v[f.Name] = s
	}
	return v
}

// KeyField is the name of the hidden field with the idempotency key.
const KeyField = "key"

// Kinds of stroke as the contract names them.
// strokeKinds are what can be fired.
func strokeKinds() []Choice {
	return []Choice{{"shot", "shot on a specimen"}, {"dry", "dry stroke"}, {"system_check", "system check on the reference pad"}}
}

// kinds are what a file can be of.
func kinds() []Choice {
	return append(strokeKinds(), Choice{"second_file", "no stroke: second file of one that has its shot"})
}

// UnitField is the hidden field with the unit in which a form's pressure is
// typed; without it the unit is kPa.
const UnitField = "unit"

// AssignFields asks what a shot's file did not say; the pressure is typed in a
// unit of lab.PressureUnits. Names are those of the shot's meta. Choices may be
// given for "specimen", "location", "condition" and "operator".
func AssignFields(pressure string) []Field {
	return append([]Field{
		{Name: "kind", Label: "Kind of stroke", Kind: "select", Options: kinds(), Required: true},
		{Name: "specimen", Label: "Specimen", Kind: "list", Help: "As written on the specimen's tag.", Wanted: true},
		{Name: "location", Label: "Impact location", Kind: "list", Wanted: true},
		{Name: "condition", Label: "Condition", Kind: "list", Help: "Ambient, hot, cold, wet."},
		{Name: "target_speed_m_s", Label: "Target speed", Unit: "m/s", Kind: "number", Wanted: true},
		{Name: "tank_pressure_kpa_gauge", Label: "Tank pressure, gauge", Unit: pressure, Kind: "number"},
		{Name: "operator", Label: "Operator", Kind: "list", Complete: "off"},
	}, measuredFields()...)
}

// ConnectFields asks for the server to enrol with.
func ConnectFields() []Field {
	return []Field{
		{Name: "server", Label: "Server address", Kind: "text", Required: true, Help: "As https://thudbook.example:8443"},
		{Name: "code", Label: "One-time code", Kind: "text", Required: true, Complete: "one-time-code", Long: true,
			Help: "8 groups of 5, as the server shows them. Small letters do; spaces and dashes may be left out. A manager makes it on the server under Agents. It works once."},
	}
}

// SignInFields asks who is there.
func SignInFields() []Field {
	return []Field{
		{Name: "name", Label: "Name", Kind: "text", Required: true, Complete: "username"},
		{Name: "password", Label: "Password", Kind: "password", Required: true, Complete: "current-password"},
	}
}

// ItemFields adds a piece of equipment. Choices: "lab". Names are those of the
// item's JSON.
func ItemFields() []Field {
	return []Field{
		{Name: "lab", Label: "Lab", Kind: "select", Required: true},
		{Name: "class", Label: "Kind", Kind: "select", Required: true, Options: []Choice{
			{"ram", "ram"}, {"drop carriage", "drop carriage"}, {"pendulum", "pendulum"}, {"impactor face", "impactor face"}, {"head form", "head form"}, {"neck", "neck"},
			{"reference pad", "reference pad"}, {"sensor", "sensor"}, {"light gate", "light gate"}, {"pressure transducer", "pressure transducer"}, {"camera", "camera"},
			{"acquisition unit", "acquisition unit"}, {"air receiver", "air receiver"}, {"relief valve", "relief valve"}, {"hose", "hose"}, {"guard switch", "guard switch"}, {"other", "other"}}},
		{Name: "serial", Label: "Serial number", Kind: "text", Required: true},
		{Name: "name", Label: "Name", Kind: "text", Help: "As accelerometer X."},
		{Name: "asset_number", Label: "Asset number", Kind: "text", Help: "The lab's own."},
		{Name: "maker", Label: "Maker", Kind: "text"},
		{Name: "model", Label: "Model", Kind: "text"},
		{Name: "service_every_strokes", Label: "Service interval", Unit: "strokes", Kind: "number", Help: "For what wears, as a ram."},
		{Name: "service_every_days", Label: "Service interval", Unit: "days", Kind: "number", Help: "With both, whichever comes first."},
		{Name: "opening_strokes", Label: "Strokes before it came into this register", Unit: "strokes", Kind: "number"},
		calibrationField("Needs calibration"),
		confirmField(),
	}
}

// calibrationField asks whether a new item needs calibration.
func calibrationField(label string) Field {
	return Field{Name: "calibration_required", Label: label, Kind: "select", Help: "Usual: sensors, light gates and pressure transducers need it, the rest does not.",
		Options: []Choice{{"", "as usual for its kind"}, {"yes", "yes"}, {"no", "no"}}}
}

// ServiceFields records a service done. Choices: "item".
func ServiceFields() []Field {
	return []Field{
		{Name: "item", Label: "Item", Kind: "select", Required: true},
		{Name: "effective_at", Label: "Done at", Kind: "datetime-local", Required: true},
		{Name: "counter_strokes", Label: "Machine's own counter", Unit: "strokes", Kind: "number", Help: "If it has one."},
		{Name: "note", Label: "What was done", Kind: "area", Required: true},
	}
}

// CalibrationFields records a calibration. Choices: "item".
func CalibrationFields() []Field {
	return []Field{
		{Name: "item", Label: "Item", Kind: "select", Required: true},
		{Name: "effective_at", Label: "Calibrated on", Kind: "date", Required: true},
		{Name: "due_at", Label: "Due again on", Kind: "date", Required: true},
		{Name: "certificate", Label: "Certificate number", Kind: "text", Required: true},
		{Name: "sensitivity", Label: "Sensitivity as left", Kind: "number", Help: "The value to use from now on, in the unit of the next field."},
		{Name: "sensitivity_unit", Label: "Unit of the sensitivity", Kind: "text", Help: "As mV/g."},
		{Name: "as_found_sensitivity", Label: "Sensitivity as found", Kind: "number", Help: "Before any adjustment. Empty: it was not adjusted."},
		{Name: "as_found_not_reported", Label: "It was adjusted, and the value as found is not reported", Kind: "checkbox", Help: "Then nothing is said about the shots before."},
		{Name: "as_found_limit_percent", Label: "Largest change that is accepted", Unit: "%", Kind: "number", Help: "Of the sensitivity before, set by the lab. Empty: only what both expanded uncertainties do not explain is pointed out."},
		{Name: "expanded_uncertainty_percent", Label: "Expanded uncertainty (k = 2)", Unit: "%", Kind: "number"},
		{Name: "laboratory", Label: "Calibrated by", Kind: "text", Help: "The laboratory."},
		{Name: "reference_standard", Label: "Reference standard", Kind: "text", Help: "As the certificate names it."},
		{Name: "certified_serial", Label: "Serial number on the certificate", Kind: "text", Help: "To see that it is this item's."},
		confirmField(),
	}
}

// confirmField lets what looks doubtful be recorded.
func confirmField() Field {
	return Field{Name: "confirmed", Label: "I have checked this entry", Kind: "checkbox", Help: "Tick it to save an entry that was called doubtful."}
}

// MountingFields records where an item was put. Choices: "item", with "" for
// nothing, and "rig".
func MountingFields() []Field {
	return []Field{
		{Name: "rig", Label: "Rig", Kind: "select", Required: true, Help: "A rig is listed once its agent has reached this server."},
		{Name: "position", Label: "Position", Kind: "text", Required: true, Help: "As the channel map names it, such as ax; for others ram, head form."},
		{Name: "item", Label: "Item", Kind: "select", Help: "Nothing, when it was taken off."},
		{Name: "effective_at", Label: "Since", Kind: "datetime-local", Required: true},
		AnotherAxisField(),
	}
}

// CampaignFields creates a campaign: every specimen is hit at every location,
// in every condition, at every target speed. Choices: "lab".
func CampaignFields() []Field {
	when := CampaignWhenFields()
	return []Field{
		{Name: "lab", Label: "Lab", Kind: "select", Required: true},
		{Name: "name", Label: "Name", Kind: "text", Required: true},
		{Name: "owner", Label: "Department or project", Kind: "text"},
		{Name: "specimens", Label: "Specimens", Kind: "area", Required: true, Help: "One a line, as written on their tags."},
		{Name: "locations", Label: "Impact locations", Kind: "area", Required: true, Help: "One a line."},
		{Name: "conditions", Label: "Conditions", Kind: "area", Help: "One a line, as ambient, hot, cold, wet. Empty: in any condition."},
		{Name: "target_speeds_m_s", Label: "Target speeds", Unit: "m/s", Kind: "text", Required: true, Help: "With commas between, as 5.5, 7.4"},
		{Name: "tolerance_m_s", Label: "Speed tolerance, plus or minus", Unit: "m/s", Kind: "number", Help: "Empty: speed is not judged."},
		{Name: "most_out_of_chamber_min", Label: "Out of the chamber, at most", Unit: "min", Kind: "number", Help: "From the chamber to the shot. Empty: any time."},
		{Name: "least_rest_min", Label: "Rest between hits on one specimen, at least", Unit: "min", Kind: "number", Help: "Empty: none."},
		{Name: "planned", Label: "Shots per specimen and cell", Kind: "number", Required: true},
		when[0], when[1], when[2],
		{Name: "acceptance_limits", Label: "Acceptance limits", Kind: "area", Help: "One a line: result; at most, with its unit; where the figure is from. As hic15; 700; 49 CFR 571.208 or peak_linear_acceleration; 300 g; own plan."},
		{Name: "inspection_limits", Label: "Criteria of the inspection", Kind: "area", Help: "One a line: element; worst condition that passes; largest lasting deformation, in mm; where it is from. As bar; damaged; 3; own plan or weld; sound. Elements: bar, weld, coating, attachment, strap, shell, padding. Conditions: sound, marked, damaged, failed."},
		{Name: "face_contact_fails", Label: "A guard that touched the face form fails", Kind: "checkbox"},
	}
}

// CampaignWhenFields says where and when a campaign is to be fired. Choices: "rig".
func CampaignWhenFields() []Field {
	return []Field{
		{Name: "rig", Label: "Rig", Kind: "select", Help: "For the forecast of services alone."},
		{Name: "starts_on", Label: "First day", Kind: "date", Help: "For the forecast of services alone."},
		{Name: "ends_on", Label: "Last day", Kind: "date"},
	}
}

// CodeFields asks for a new one-time code. Choices: "lab".
func CodeFields() []Field {
	return []Field{
		{Name: "lab", Label: "Lab that the agent will write for", Kind: "select", Required: true},
		{Name: "name", Label: "Name of the agent", Kind: "text", Required: true, Help: "As rig one."},
	}
}

// LostKeyFields lets an agent back that lost its key. Choices: "agent".
func LostKeyFields() []Field {
	return []Field{
		{Name: "agent", Label: "Agent", Kind: "select", Required: true, Help: "Only when its own screens say that its key was lost. Its old key is worth nothing from then on; its records stay and go on."},
	}
}

// RevokeFields withdraws an agent. Choices: "agent".
func RevokeFields() []Field {
	return []Field{
		{Name: "agent", Label: "Agent", Kind: "select", Required: true},
		{Name: "reason", Label: "Reason", Kind: "text", Required: true, Help: "What it recorded stays. To let it in again, make a new code."},
	}
}

// AccountFields creates an account. Choices: "lab".
func AccountFields() []Field {
	return append([]Field{
		{Name: "name", Label: "Sign-in name", Kind: "text", Required: true, Complete: "off"},
		{Name: "full_name", Label: "Name, as others see it", Kind: "text", Complete: "off"},
		{Name: "password", Label: "First password", Kind: "password", Required: true, Complete: "new-password",
			Help: "At least 12 characters. Hand it over in person."},
	}, roleFields()...)
}

// AccessFields sets another password for an account, or shuts it out and lets
// it in again. Choices: "account".
func AccessFields() []Field {
	return []Field{
		{Name: "account", Label: "Account", Kind: "select", Required: true},
		{Name: "may", Label: "Signing in", Kind: "select", Required: true, Options: []Choice{{"as_is", "as it is"}, {"yes", "allowed"}, {"no", "not allowed"}}},
		{Name: "new_password", Label: "New password", Kind: "password", Complete: "new-password", Help: "Empty: the present one stays. At least 12 characters."},
	}
}

// PasswordFields replaces one's own password.
func PasswordFields() []Field {
	return []Field{
		{Name: "present", Label: "Present password", Kind: "password", Required: true, Complete: "current-password"},
		{Name: "password", Label: "New password", Kind: "password", Required: true, Complete: "new-password", Help: "At least 12 characters; a few words do well."},
		{Name: "again", Label: "New password once more", Kind: "password", Required: true, Complete: "new-password"},
	}
}

// RoleFields gives an account a role in a lab. Choices: "account", "lab".
func RoleFields() []Field {
	return append([]Field{{Name: "account", Label: "Account", Kind: "select", Required: true}}, roleFields()...)
}

func roleFields() []Field {
	return []Field{
		{Name: "role", Label: "Role", Kind: "select", Required: true, Options: []Choice{
			{"operator", "operator"}, {"manager", "manager"}, {"coordinator", "coordinator"}, {"administrator", "administrator"}, {"none", "no role"}}},
		{Name: "lab", Label: "In lab", Kind: "select", Help: "An administrator's role holds everywhere. “No role” removes the role in the lab chosen; with no lab chosen it removes the administrator's."},
	}
}

// LabFields creates a lab.
func LabFields() []Field {
	return []Field{
		{Name: "name", Label: "Name", Kind: "text", Required: true},
		{Name: "id", Label: "Identity of a lab whose server is lost", Kind: "text", Complete: "off", Help: "Leave it empty for a new lab. It stands on the screen Server of the lab's agents; what they hold then belongs to this lab."},
	}
}

// CampaignLimitsFields asks for the limits of a campaign that is laid out: as in
// CampaignFields.
func CampaignLimitsFields() []Field {
	want := []string{"most_out_of_chamber_min", "least_rest_min", "acceptance_limits", "inspection_limits", "face_contact_fails"}
	return slices.DeleteFunc(CampaignFields(), func(f Field) bool { return !slices.Contains(want, f.Name) })
}
