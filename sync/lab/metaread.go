package lab

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"unicode/utf8"

	"thudbook/sync/problem"
)

// ParseMeta reads the JSON that comes beside an acquisition file or in the
// POST. kind is "" when the text does not name one. Names that are not known
// are kept in Extra; null means "not recorded". Any fault is an error.
func ParseMeta(text []byte) (m Meta, kind string, err error) {
	m, kind, faults, err := ReadMeta(text)
	if err = errors.Join(append(faults, err)...); err != nil {
		return Meta{}, "", err
	}
	return m, kind, nil
}

// ReadMeta is ParseMeta that keeps whatever can be used: each of faults, all of
// them problems, names a field that was left out, its value and the fix. err is
// set only where the text is no JSON object at all.
func ReadMeta(text []byte) (m Meta, kind string, faults []error, err error) {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(text, &fields); err != nil {
		p := problem.New(problem.Invalid, "the shot's meta is no JSON object", `send one JSON object such as {"specimen":"H-12","location":"front","target_speed_m_s":5.5}`)
		p.Where, p.Err = "meta", err
		return Meta{}, "", nil, p
	}
	known := metaFields()
	rest := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(fields)) { // one by one, so that one fault costs one field
		raw := fields[name]
		var err error
		switch {
		case name == "kind":
			kind, err = readKind(raw)
		case name == "extra":
			err = json.Unmarshal(raw, &m.Extra)
			if err != nil {
				m.Extra, err = nil, unusableField(name, raw, err)
			}
		case !known[name]:
			if string(raw) != "null" {
				rest[name] = plainText(raw)
			}
		default:
			err = m.readField(name, raw)
		}
		if err != nil {
			faults = append(faults, err)
		}
	}
	if len(rest) > 0 && m.Extra == nil {
		m.Extra = map[string]string{}
	}
	maps.Copy(m.Extra, rest)
	return m, kind, append(faults, m.dropBadExtra()...), nil
}

func readKind(raw json.RawMessage) (string, error) {
	var k *string
	if err := json.Unmarshal(raw, &k); err != nil {
		p := problem.New(problem.Invalid, "kind is no text: "+brief(raw), "write one of "+strings.Join(ShotKinds(), ", ")+", in quotes")
		p.Where, p.Err = "meta, kind", err
		return "", p
	}
	if k == nil || *k == "" {
		return "", nil
	}
	c := &checks{what: "meta"}
	if c.oneOf("kind", *k, ShotKinds()...); c.err() != nil {
		return "", c.err()
	}
	return *k, nil
}

// readField sets one known field when its value can be used.
func (m *Meta) readField(name string, raw json.RawMessage) error {
	one, err := json.Marshal(map[string]json.RawMessage{name: raw})
	var alone Meta
	if err == nil {
		err = json.Unmarshal(one, &alone)
	}
	if err == nil && timeField(name) && alone.FiredAt.IsZero() && alone.NeckTorquedAt.IsZero() && brief(raw) != "null" && brief(raw) != `""` {
		err = errors.New("the first instant of 1970 is what a clock shows that was never set")
	}
	if err != nil {
		return unusableField(name, raw, err)
	}
	c := &checks{what: "meta"}
	if alone.check(c); c.err() != nil {
		return errors.Join(c.errs...)
	}
	return json.Unmarshal(one, m) // as it went for alone
}

func timeField(name string) bool { return metaKind(name) == reflect.TypeFor[Time]() }

// unusableField names field, value and fix.
func unusableField(name string, raw json.RawMessage, cause error) error {
	fix := "write text in quotes"
	switch metaKind(name) {
	case reflect.TypeFor[*float64]():
		fix = "write a number without quotes and without its unit, as 5.5"
	case reflect.TypeFor[*int64]():
		fix = "write a whole number without quotes"
	case reflect.TypeFor[Time]():
		fix = "write date, time and zone, as 2026-05-04T13:20:00Z"
	case reflect.TypeFor[map[string]string]():
		fix = `write names and texts, as {"lot":"L 7"}`
	}
	p := problem.New(problem.Invalid, fmt.Sprintf("%s has an unusable value %s", name, brief(raw)), fix)
	p.Where, p.Err = "meta, "+name, cause
	return p
}

// metaKind gives the type of the field of Meta with that name in JSON.
func metaKind(name string) reflect.Type {
	t := reflect.TypeFor[Meta]()
	for i := range t.NumField() {
		if tag, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); tag == name {
			return t.Field(i).Type
		}
	}
	return nil
}

// dropBadExtra leaves out the further fields that a record cannot hold.
func (m *Meta) dropBadExtra() (faults []error) {
	for _, k := range slices.Sorted(maps.Keys(m.Extra)) {
		c := &checks{what: "meta"}
		c.needText("extra field name", k, MaxText)
		c.text("extra."+k, m.Extra[k], MaxText)
		if c.err() != nil {
			faults = append(faults, c.errs...)
			delete(m.Extra, k)
		}
	}
	if n := len(m.Extra); n > MaxExtra {
		c := &checks{what: "meta"}
		c.add("extra", fmt.Sprintf("%d further fields, the most is %d", n, MaxExtra), "attach them as a file")
		faults = append(faults, c.errs...)
		for _, k := range slices.Sorted(maps.Keys(m.Extra))[MaxExtra:] {
			delete(m.Extra, k)
		}
	}
	if len(m.Extra) == 0 {
		m.Extra = nil
	}
	return faults
}

// brief shortens a value for a message.
func brief(raw json.RawMessage) string {
	const most = 60
	s := strings.TrimSpace(strings.ToValidUTF8(string(raw), "\uFFFD"))
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}

// plainText gives a JSON text without its quotes, and anything else as it is.
func plainText(raw json.RawMessage) string {
	var s string
	if json.Unmarshal(raw, &s) == nil {
		return s
	}
	return string(raw)
}
