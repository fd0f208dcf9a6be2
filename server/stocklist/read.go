package stocklist

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"thudbook/sync/lab"
	"thudbook/sync/problem"
	"thudbook/web/present"
)

// MaxLines is the most items that one list may have.
const MaxLines = 2000

// List is a table as it was read.
type List struct {
	rows []row
	has  map[string]bool // columns
}

type row struct {
	line int
	entry
	given map[string]bool // cells that are not empty
}

// Lines is the number of items in the list.
func (l *List) Lines() int { return len(l.rows) }

func fault(line int, col, what, fix string) error {
	where := fmt.Sprintf("line %d", line)
	if col != "" {
		where += ", column " + col
	}
	p := problem.New(problem.Invalid, what, fix)
	p.Where = where
	return p
}

// Read reads a table: a head with the names of columns, then one item a line.
// Commas, semicolons and tabs may divide it. An empty cell says nothing about
// its field. The error joins all faults, each with its line and column.
func Read(text []byte) (*List, error) {
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		line := 1
		for rest := text; len(rest) > 0; {
			r, n := utf8.DecodeRune(rest)
			if r == utf8.RuneError && n == 1 {
				break
			}
			if r == '\n' {
				line++
			}
			rest = rest[n:]
		}
		return nil, fault(line, "", "The text is not UTF-8.", "Save the list as CSV with UTF-8 encoding.")
	}
	r := csv.NewReader(bytes.NewReader(text))
	r.Comma, r.FieldsPerRecord = divider(text), -1
	head, err := r.Read()
	if errors.Is(err, io.EOF) {
		return nil, fault(1, "", "The list is empty.", "Begin with a line of column names: "+strings.Join(Columns(), ", ")+".")
	}
	if err != nil {
		return nil, unreadable(err)
	}
	cols, err := heads(head)
	if err != nil {
		return nil, err
	}
	l, errs := &List{has: map[string]bool{}}, []error{}
	for _, c := range cols {
		if c != nil {
			l.has[c.name] = true
		}
	}
	for {
		cells, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, errors.Join(append(errs, unreadable(err))...) // where the next line begins is not known
		}
		line, _ := r.FieldPos(0)
		if blank(cells) {
			continue
		}
		if len(l.rows) == MaxLines {
			errs = append(errs, fault(line, "", fmt.Sprintf("The list has more than %d items.", MaxLines), "Divide it."))
			break
		}
		row, err := read(line, cols, cells)
		errs = append(errs, err)
		l.rows = append(l.rows, row)
	}
	return l, inOrder(append(errs, l.twice())...)
}

// divider is the character that divides the head into the most known columns.
func divider(text []byte) rune {
	head, _, _ := bytes.Cut(text, []byte("\n"))
	best, most := ',', 0
	for _, c := range []rune{',', ';', '\t'} {
		n := 0
		for part := range strings.SplitSeq(string(head), string(c)) {
			if find(part) != nil {
				n++
			}
		}
		if n > most {
			best, most = c, n
		}
	}
	return best
}

// find gives the column of a name, however it is written: "Asset number" is
// asset_number.
func find(name string) *column {
	name = strings.ReplaceAll(lab.Fold(strings.Trim(name, `" `)), " ", "_")
	for _, c := range columns() {
		if c.name == name {
			return &c
		}
	}
	return nil
}

func heads(head []string) ([]*column, error) {
	var out []*column
	var errs []error
	seen := map[string]bool{}
	for i, name := range head {
		c := find(name)
		switch {
		case c == nil && strings.TrimSpace(name) == "": // a nameless column is left out, if nothing stands in it
		case c == nil:
			errs = append(errs, fault(1, fmt.Sprint(i+1), fmt.Sprintf("There is no column “%s”.", name), "Use these names: "+strings.Join(Columns(), ", ")+"; take other columns out."))
		case seen[c.name]:
			errs = append(errs, fault(1, c.name, "The column stands here twice.", "Take one of them out."))
		default:
			seen[c.name] = true
		}
		out = append(out, c)
	}
	for _, need := range []string{"class", "serial"} {
		if !seen[need] {
			errs = append(errs, fault(1, need, "The column is missing.", "An item is known by its class and serial number; give both."))
		}
	}
	return out, errors.Join(errs...)
}

func read(line int, cols []*column, cells []string) (row, error) {
	r := row{line: line, given: map[string]bool{}}
	var errs []error
	for i, cell := range cells {
		cell = strings.TrimSpace(present.Unguard(cell))
		if cell == "" {
			continue
		}
		if i >= len(cols) || cols[i] == nil {
			errs = append(errs, fault(line, fmt.Sprint(i+1), fmt.Sprintf("“%s” stands in a column without a name.", cell), "Name the column, or empty the cell; a text that holds the dividing character goes into quotes."))
			continue
		}
		c := cols[i]
		if err := c.set(&r.entry, cell); err != nil {
			errs = append(errs, fault(line, c.name, err.Error()+".", "Write "+c.text+"."))
			continue
		}
		r.given[c.name] = true
	}
	for _, need := range []string{"class", "serial"} {
		if !r.given[need] {
			errs = append(errs, fault(line, need, "The cell is empty.", "An item is known by its class and serial number; give both."))
		}
	}
	return r, errors.Join(errs...)
}

func blank(cells []string) bool {
	return !slices.ContainsFunc(cells, func(s string) bool { return strings.TrimSpace(s) != "" })
}

func unreadable(err error) error {
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return fault(p.Line, "", fmt.Sprintf("The line cannot be read from character %d on: %v.", p.Column, p.Err),
			"Text with quotes in it is put into quotes, and its quotes are doubled.")
	}
	return err
}

// twice finds items and asset numbers that stand in the list twice.
func (l *List) twice() error {
	items, assets := map[string]int{}, map[string]int{}
	var errs []error
	for i := range l.rows {
		r := &l.rows[i]
		if r.given["class"] && r.given["serial"] {
			if first, ok := items[key(&r.item)]; ok {
				errs = append(errs, fault(r.line, "serial", fmt.Sprintf("The %s with serial number %s stands in line %d already.", r.item.Class, r.item.Serial, first), "Keep one of the lines."))
			} else {
				items[key(&r.item)] = r.line
			}
		}
		if a := lab.Fold(r.item.AssetNumber); a != "" {
			if first, ok := assets[a]; ok {
				errs = append(errs, fault(r.line, "asset_number", fmt.Sprintf("The asset number %s stands in line %d already.", r.item.AssetNumber, first), "Check the number on the item."))
			} else {
				assets[a] = r.line
			}
		}
	}
	return errors.Join(errs...)
}
