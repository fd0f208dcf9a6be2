package httppeer

// Route is a route of a handler, for the table of rights.
type Route struct {
	Pattern string
	Open    bool
}

// Routes lists what a handler serves.
func Routes(h *Handler) []Route {
	var out []Route
	for _, r := range h.routes() {
		out = append(out, Route{r.pattern, r.open})
	}
	return out
}
