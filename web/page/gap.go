package page

// Gap asks about a planned hit whose file lacks a channel that its results need.
type Gap struct {
	Missing string // "channel az, speed"
	Keep    Form
	Void    Form
}
