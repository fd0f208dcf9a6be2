package page

// ScreenName is the template that a page is rendered with.
func ScreenName(p Page) string { return p.screen() }
