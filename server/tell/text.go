package tell

import "strings"

// body is a message as plain text.
func (t *Teller) body(m *Message) string {
	var b strings.Builder
	line := func(parts ...string) { b.WriteString(strings.Join(parts, "") + "\n") }
	line(m.Lab)
	line("")
	for _, f := range m.Facts {
		line("* ", f.Title)
		if f.Text != "" {
			line("  ", f.Text)
		}
		if u := t.link(f.Path); u != "" {
			line("  ", u)
		}
	}
	if m.Digest != nil {
		if m.Digest.Empty() {
			line("There is nothing to say of this day.")
		}
		for _, s := range m.Digest.Sections {
			line(s.Head)
			for _, l := range s.Lines {
				line("* ", l)
			}
			line("")
		}
		if u := t.link(m.Digest.Path); u != "" {
			line(u)
		}
	}
	line("")
	line("-- ")
	line("Thudbook", server(t.Name), ". It records and reminds; it is no safety device. Addresses are kept on the server under Messages.")
	return b.String()
}

func server(name string) string {
	if name == "" {
		return ""
	}
	return ", " + name
}

// link is a path on this server as an address; "" when the server was not told its own.
func (t *Teller) link(path string) string {
	if t.PublicURL == "" || path == "" {
		return ""
	}
	return strings.TrimSuffix(t.PublicURL, "/") + path
}
