package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
	"github.com/alecthomas/kong"
)

// configured is what commands share that run for long: a file of settings.
type configured struct {
	Config      kong.ConfigFlag `help:"File of settings (TOML); flags win over it." placeholder:"FILE"`
	WriteConfig writeConfig     `help:"Print a commented file of settings for this command, and end."`
}

// settings are the values of a file of settings by command and flag.
type settings struct {
	file   string
	tables map[string]map[string]any
}

// readSettings reads a file of settings: a table for each command, with the
// names of its flags.
func readSettings(r io.Reader) (kong.Resolver, error) {
	s := &settings{file: "the file of settings"}
	if f, ok := r.(interface{ Name() string }); ok {
		s.file = f.Name()
	}
	if _, err := toml.NewDecoder(r).Decode(&s.tables); err != nil {
		if p, ok := errors.AsType[toml.ParseError](err); ok {
			return nil, fmt.Errorf("%s, line %d, column %d: %s; mend the line, or write a fresh file with --write-config", s.file, p.Position.Line, p.Position.Col, p.Message)
		}
		return nil, fmt.Errorf("%s: settings stand in tables such as [agent] and [server]: %w", s.file, err)
	}
	return s, nil
}

// Validate refuses what means nothing: a slip must not pass for a setting.
func (s *settings) Validate(app *kong.Application) error {
	for table, values := range s.tables {
		at := slices.IndexFunc(app.Children, func(n *kong.Node) bool { return n.Name == table })
		if at < 0 || !takesConfig(app.Children[at]) {
			return fmt.Errorf("%s: %q is no table that there is; settings stand in the tables [agent] and [server]", s.file, table)
		}
		for name := range values {
			if !slices.ContainsFunc(app.Children[at].Flags, func(f *kong.Flag) bool { return f.Name == name && settable(f) }) &&
				!slices.ContainsFunc(app.Flags, func(f *kong.Flag) bool { return f.Name == name && settable(f) }) {
				return fmt.Errorf("%s, table [%s]: there is no setting %q; --write-config prints those that there are", s.file, table, name)
			}
		}
	}
	return nil
}

// Resolve gives a flag the value of the file. Paths that are not absolute
// start at the folder of the file, wherever the program is started.
func (s *settings) Resolve(ctx *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	node := ctx.Selected()
	if node == nil || !settable(flag) {
		return nil, nil
	}
	v, ok := s.tables[node.Name][flag.Name]
	if !ok {
		return nil, nil
	}
	if flag.Tag.Type != "path" {
		return v, nil
	}
	switch p := v.(type) {
	case string:
		return s.path(p), nil
	case []any:
		out := make([]any, len(p))
		for i := range p {
			text, ok := p[i].(string)
			if !ok {
				return nil, fmt.Errorf("%s: %q is a list of folders, each in quotes", s.file, flag.Name)
			}
			out[i] = s.path(text)
		}
		return out, nil
	}
	return nil, fmt.Errorf("%s: %q is a path, in quotes", s.file, flag.Name)
}

func (s *settings) path(p string) string {
	if p == "" || filepath.IsAbs(p) || strings.HasPrefix(p, "~") {
		return p
	}
	return filepath.Join(filepath.Dir(s.file), p)
}

func takesConfig(n *kong.Node) bool {
	return slices.ContainsFunc(n.Flags, func(f *kong.Flag) bool { return f.Name == "config" })
}

// settable says that a flag may stand in a file of settings.
func settable(f *kong.Flag) bool {
	return !f.Hidden && !slices.Contains([]string{"config", "write-config", "help", "version", "code"}, f.Name)
}

type writeConfig bool

// BeforeReset prints the file and ends; it runs before anything is required.
func (writeConfig) BeforeReset(app *kong.Kong, ctx *kong.Context) error {
	node := ctx.Selected()
	if node == nil {
		return errors.New("--write-config belongs behind a command, as in: thudbook agent --write-config")
	}
	fmt.Fprint(app.Stdout, blankSettings(app.Model, node))
	app.Exit(0)
	return nil
}

// blankSettings is the file of settings of a command, everything commented out.
func blankSettings(app *kong.Application, node *kong.Node) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Settings of: thudbook %s --config FILE\n# Flags win over this file. Take the # off what you set; restart to apply.\n# Paths start at the folder of this file, unless they are absolute; on Windows\n# write them in single quotes, as 'D:\\acquisition'.\n\n[%s]\n", node.Name, node.Name)
	for _, f := range slices.Concat(node.Flags, app.Flags) {
		if !settable(f) {
			continue
		}
		help, _, _ := strings.Cut(f.Help, " Default: ")
		fmt.Fprintf(&b, "\n# %s\n", help)
		if f.Required {
			b.WriteString("# Needed.\n")
		}
		fmt.Fprintf(&b, "# %s = %s\n", f.Name, example(f))
	}
	return b.String()
}

// example is the default of a flag, or its placeholder.
func example(f *kong.Flag) string {
	switch {
	case f.IsBool():
		return "false"
	case f.IsSlice():
		return fmt.Sprintf("[%q]", f.PlaceHolder)
	case f.HasDefault && f.Target.CanInt() && f.Target.Type().Name() != "Duration":
		return f.Default
	case f.HasDefault:
		return fmt.Sprintf("%q", f.Default)
	}
	return fmt.Sprintf("%q", f.PlaceHolder)
}
