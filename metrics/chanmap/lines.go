package chanmap

import (
	"fmt"
	"strings"
)

// findLines says on which line each key of a TOML text stands: "time.column",
// "channel[2]", "channel[2].unit". It only serves messages: a key written in an
// unusual way is missing here, and lineOf then names the line of its table.
func findLines(text []byte) map[string]int {
	lines := map[string]int{}
	count := map[string]int{}
	table := ""
	closing := "" // the end of a text over several lines
	n := 0
	for line := range strings.Lines(string(text)) {
		n++
		line = strings.TrimSpace(line)
		if closing != "" {
			if strings.Contains(line, closing) {
				closing = ""
			}
			continue
		}
		switch {
		case strings.HasPrefix(line, "[["):
			key, _, _ := strings.Cut(line[2:], "]]")
			key = plainKey(key)
			count[key]++
			table = fmt.Sprintf("%s[%d]", key, count[key])
			lines[table] = n
		case strings.HasPrefix(line, "["):
			key, _, _ := strings.Cut(line[1:], "]")
			table = plainKey(key)
			note(lines, table, n)
		default:
			key, value, ok := strings.Cut(line, "=")
			if !ok || strings.HasPrefix(line, "#") {
				continue
			}
			key = plainKey(key)
			if table != "" {
				key = table + "." + key
			}
			note(lines, key, n)
			for _, q := range []string{`"""`, "'''"} {
				if strings.Count(value, q)%2 == 1 {
					closing = q
				}
			}
		}
	}
	return lines
}

func note(lines map[string]int, key string, n int) {
	if _, seen := lines[key]; !seen {
		lines[key] = n
	}
}

func plainKey(s string) string {
	parts := strings.Split(s, ".")
	for i, p := range parts {
		parts[i] = strings.Trim(strings.TrimSpace(p), `"'`)
	}
	return strings.Join(parts, ".")
}

// lineOf gives the line of a key, else of the table round it, else 0.
func lineOf(lines map[string]int, key string) int {
	for key != "" {
		if n, ok := lines[key]; ok {
			return n
		}
		i := strings.LastIndexByte(key, '.')
		if i < 0 {
			return 0
		}
		key = key[:i]
	}
	return 0
}
