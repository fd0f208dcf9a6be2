package lab

import (
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"github.com/fxamacker/cbor/v2"
	"github.com/google/uuid"

	"thudbook/sync/problem"
	"thudbook/sync/record"
)

// EditRef names the edit that a person saw when making another: its origin
// (the lab is that of the document) and its place there.
type EditRef struct {
	Node  uuid.UUID `json:"node"`
	Epoch uint32    `json:"epoch"`
	Seq   uint64    `json:"seq"`
	// Branch tells an edit that was carried over from a second history of its
	// origin (record.Rehomed.BranchMark); 0: it stands in its own place.
	Branch uint64 `json:"branch,omitempty"`
}

// FieldEdit sets one field of a document. Per field the newest holds; edits
// made without sight of each other are kept and shown side by side.
//
// Field is the name of the field in the document's JSON; a further field of a
// shot's meta is "extra.NAME". Value is one CBOR item; null takes the field
// back to "not recorded".
type FieldEdit struct {
	Doc     uuid.UUID   `json:"doc"`
	DocKind record.Kind `json:"doc_kind"`
	Field   string      `json:"field"`
	Value   []byte      `json:"value"`
	Base    []EditRef   `json:"base,omitempty"` // the edits it replaces; empty: the document as it was made
}

// NewEdit makes an edit of one field. value is a Go value of the field's type,
// or nil to clear it.
func NewEdit(doc uuid.UUID, docKind record.Kind, field string, value any, base ...EditRef) (*FieldEdit, error) {
	raw, err := record.EncodeBody(value)
	if err != nil {
		return nil, fmt.Errorf("encode the value of %s: %w", field, err)
	}
	e := &FieldEdit{Doc: doc, DocKind: docKind, Field: field, Value: raw, Base: base}
	return e, e.Validate()
}

// RecordKind is KindEdit.
func (*FieldEdit) RecordKind() record.Kind { return KindEdit }

// SchemaVersion is EditSchema.
func (*FieldEdit) SchemaVersion() uint { return EditSchema }

// maxBase bounds the edits that one edit can replace.
const maxBase = 100

// Validate gives all faults at once. A value of the wrong type is one; bounds
// of the value are those of the document that comes out (see Overlay).
func (e *FieldEdit) Validate() error {
	c := &checks{what: KindEdit}
	c.id("doc", e.Doc)
	if len(e.Base) > maxBase {
		c.add("base", fmt.Sprintf("%d edits, the most is %d", len(e.Base), maxBase), "settle them in steps")
	}
	var err error
	switch e.DocKind {
	case KindShot:
		err = tryField[Shot](e)
	case KindRig:
		err = tryField[Rig](e)
	case KindItem:
		err = tryField[Item](e)
	case KindCampaign:
		err = tryField[Campaign](e)
	case KindServicePlan:
		err = tryField[ServicePlan](e)
	case KindWorkOrder:
		err = tryField[WorkOrder](e)
	default:
		c.add("doc_kind", fmt.Sprintf("%q has no fields that can be edited", e.DocKind), "edit a shot, rig, item, campaign, service plan or work order")
	}
	return errors.Join(c.err(), err)
}

// tryField puts the value into an empty document, to see that it fits.
func tryField[T any](e *FieldEdit) error {
	var zero T
	_, bad, err := Overlay(zero, map[string][]byte{e.Field: e.Value})
	if err == nil && len(bad) == 0 {
		return nil
	}
	p := problem.New(problem.Invalid, fmt.Sprintf("the value does not fit %s of a %s", e.Field, e.DocKind),
		"give a value of the field's type, or name another field")
	p.Where, p.Err = "edit", err
	return p
}

// fixed are fields that say what was received; they are never edited.
func fixed(field string) bool {
	switch field {
	case "file_name", "file_time", "source_sha256", "map_sha256", "meta_typed", "extra":
		return true
	}
	return false
}

// SettledByPerson says that two values of a field that were set without sight of
// each other are settled by a person alone: serials, limits and what a service
// or calibration rests on. The newest is shown; nothing new may rest on it.
func SettledByPerson(kind record.Kind, field string) bool {
	switch kind {
	case KindItem:
		switch field {
		case "class", "serial", "service_every_strokes", "opening_strokes", "calibration_required":
			return true
		}
	case KindServicePlan:
		return true
	case KindShot:
		return field == "helmet_serial"
	case KindCampaign:
		return field == "acceptance_limits" || field == "cells" || field == "inspection_limits" || field == "face_contact_fails" ||
			field == "most_out_of_chamber_s" || field == "least_rest_s"
	}
	return false
}

// Overlay puts edited fields over a document. Fields that the document does
// not have, or whose value does not fit, are left out and named in bad.
func Overlay[T any](doc T, fields map[string][]byte) (out T, bad []string, err error) {
	raw, err := record.EncodeBody(&doc)
	if err != nil {
		return doc, nil, fmt.Errorf("encode the document: %w", err)
	}
	var m map[string]cbor.RawMessage
	if err := cbor.Unmarshal(raw, &m); err != nil {
		return doc, nil, fmt.Errorf("read the document: %w", err)
	}
	known := fieldNames(reflect.TypeFor[T]())
	out = doc
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		next, ok := withField[T](m, known, name, fields[name])
		if !ok {
			bad = append(bad, name)
			continue
		}
		out = next
	}
	return out, bad, nil
}

// withField tries one field in m and keeps it there when the document can
// still be read.
func withField[T any](m map[string]cbor.RawMessage, known map[string]bool, name string, value []byte) (out T, ok bool) {
	key, old := name, m[name]
	if sub, isExtra := strings.CutPrefix(name, "extra."); isExtra && known["extra"] {
		key, old = "extra", m["extra"]
		var err error
		if value, err = withExtra(old, sub, value); err != nil {
			return out, false
		}
	} else if !known[name] || fixed(name) {
		return out, false
	}
	if cbor.Wellformed(value) != nil {
		return out, false
	}
	const null, undefined = 0xf6, 0xf7
	if value[0] == null || value[0] == undefined {
		delete(m, key)
	} else {
		m[key] = value
	}
	raw, err := record.EncodeBody(m)
	if err == nil {
		err = record.DecodeBody(raw, &out)
	}
	if err != nil {
		if m[key] = old; old == nil {
			delete(m, key)
		}
		return out, false
	}
	return out, true
}

func withExtra(old []byte, name string, value []byte) ([]byte, error) {
	extra := map[string]string{}
	if len(old) > 0 {
		if err := cbor.Unmarshal(old, &extra); err != nil {
			return nil, err
		}
	}
	var s *string
	if err := cbor.Unmarshal(value, &s); err != nil {
		return nil, err
	}
	if delete(extra, name); s != nil && *s != "" {
		extra[name] = *s
	}
	return record.EncodeBody(extra)
}

// fieldNames lists the JSON names of a struct's fields, embedded ones too.
func fieldNames(t reflect.Type) map[string]bool {
	out := map[string]bool{}
	if t.Kind() != reflect.Struct {
		return out
	}
	for _, f := range reflect.VisibleFields(t) {
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if name != "" && name != "-" {
			out[name] = true
		}
	}
	return out
}

// metaFields lists the JSON names of Meta.
func metaFields() map[string]bool { return fieldNames(reflect.TypeFor[Meta]()) }
