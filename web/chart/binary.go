package chart

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
)

// The binary form of traces, made to be read without parsing numbers:
//
//	4 bytes   "TBT1"
//	4 bytes   length of the header, uint32, little endian
//	header    JSON (Header), filled up with spaces so that what follows
//	          starts at a multiple of 8 bytes
//	data      at the offsets the header names, from the end of the header:
//	          times as float64, values as float32, all little endian;
//	          NaN is a sample that was not read
const magic = "TBT1"

// Limits of what Decode takes, against a length that was made up.
const (
	maxHeader = 1 << 20
	maxPoints = 1 << 26
)

// Encoding says how much of the traces is written.
type Encoding struct {
	Buckets  int  // smallest and largest value for each of so many buckets; 0: every sample
	Raw      bool // write the curves as read; a channel without one gives the filtered
	Filtered bool // write the filtered curves; a channel without one gives the raw
}

// Header describes the data that follows it.
type Header struct {
	Version  int             `json:"version"`
	Samples  int             `json:"samples"` // of the record
	Points   int             `json:"points"`  // of each array here
	Buckets  int             `json:"buckets"` // 0: every sample is here
	Time     HeaderTime      `json:"time"`
	FromS    float64         `json:"view_from_s"`
	ToS      float64         `json:"view_to_s"`
	Marks    []HeaderMark    `json:"marks"`
	Channels []HeaderChannel `json:"channels"`
}

// HeaderTime gives even times as start and step, others as an offset of float64.
type HeaderTime struct {
	StartS      float64 `json:"start_s"`
	StepS       float64 `json:"step_s"` // 0: see Offset
	Offset      int     `json:"offset"` // -1: even
	FromTrigger bool    `json:"from_trigger"`
	Label       string  `json:"label"` // of the axis
}

// HeaderMark is a Mark.
type HeaderMark struct {
	Label string  `json:"label"`
	Unit  string  `json:"unit"`
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
}

// HeaderChannel is a Channel with the offsets of its arrays, -1 where absent.
type HeaderChannel struct {
	Name     string `json:"name"`
	Label    string `json:"label"`
	Quantity string `json:"quantity"`
	Position string `json:"position"`
	Axis     string `json:"axis"`
	Unit     string `json:"unit"`
	Class    string `json:"class"`
	Hue      int    `json:"hue"`
	Raw      int    `json:"raw"`
	Filtered int    `json:"filtered"`
}

// EncodeTraces writes every sample of every curve in the binary form.
func EncodeTraces(w io.Writer, t Traces) error {
	return Encoding{Raw: true, Filtered: true}.Encode(w, t)
}

// Encode writes the traces in the binary form, thinned as e says. It fails when
// the lengths of t do not agree, or with the writer.
func (e Encoding) Encode(w io.Writer, t Traces) error {
	if err := t.Check(); err != nil {
		return err
	}
	h, data := e.layout(t)
	head, err := json.Marshal(h)
	if err != nil {
		return fmt.Errorf("header of traces: %w", err)
	}
	for (len(magic)+4+len(head))%8 != 0 {
		head = append(head, ' ')
	}
	out := make([]byte, 0, len(magic)+4+len(head)+len(data))
	out = append(out, magic...)
	out = binary.LittleEndian.AppendUint32(out, uint32(len(head)))
	out = append(append(out, head...), data...)
	_, err = w.Write(out)
	return err
}

func (e Encoding) layout(t Traces) (Header, []byte) {
	from, to := t.span()
	times := timesByIndex(t.TimeS, e.Buckets)
	h := Header{Version: 1, Samples: len(t.TimeS), Points: len(times), FromS: from, ToS: to,
		Marks: []HeaderMark{}, Channels: []HeaderChannel{}, Time: HeaderTime{Offset: -1, FromTrigger: t.FromTrigger, Label: t.timeLabel()}}
	if len(times) != len(t.TimeS) {
		h.Buckets = e.Buckets
	}
	var data []byte
	if start, step, ok := even(times); ok {
		h.Time.StartS, h.Time.StepS = start, step
	} else {
		h.Time.Offset = 0
		for _, v := range times {
			data = binary.LittleEndian.AppendUint64(data, math.Float64bits(v))
		}
	}
	put := func(v []float64) int {
		if v == nil {
			return -1
		}
		at := len(data)
		for _, x := range byIndex(v, e.Buckets) {
			data = binary.LittleEndian.AppendUint32(data, math.Float32bits(single(x)))
		}
		return at
	}
	hue := hues(t.Channels)
	for i, c := range t.Channels {
		hc := HeaderChannel{Name: c.Name, Label: c.label(), Quantity: c.Quantity, Position: c.Position,
			Axis: c.Axis, Unit: c.Unit, Class: c.Class, Hue: hue[i], Raw: -1, Filtered: -1}
		if e.Filtered || c.Raw == nil {
			hc.Filtered = put(c.Filtered)
		}
		if e.Raw || c.Filtered == nil {
			hc.Raw = put(c.Raw)
		}
		h.Channels = append(h.Channels, hc)
	}
	for _, m := range t.Marks {
		h.Marks = append(h.Marks, HeaderMark(m))
	}
	return h, data
}

// single narrows to float32; what is not finite there was not read.
func single(x float64) float32 {
	v := float32(x)
	if math.IsInf(float64(v), 0) {
		return float32(math.NaN())
	}
	return v
}

// maxMovedS is how far a time may be from an even one that is sent for it: well
// below the step of the fastest acquisitions, 5 µs at 200 kHz.
const maxMovedS = 5e-8

// even tells whether the times are a start and a step: to a thousandth of the
// step at every sample, and to maxMovedS.
func even(t []float64) (start, step float64, ok bool) {
	if len(t) < 2 {
		return 0, 0, false
	}
	step = (t[len(t)-1] - t[0]) / float64(len(t)-1)
	if !(step > 0) {
		return 0, 0, false
	}
	near := min(step*1e-3, maxMovedS)
	for i, v := range t {
		if !(math.Abs(v-(t[0]+float64(i)*step)) <= near) {
			return 0, 0, false
		}
	}
	return t[0], step, true
}

// Decode reads what Encode wrote. Thinned traces come back thinned, with the
// number of samples of the record in the header. Anything malformed is an
// error; nothing is assumed of the input.
func Decode(r io.Reader) (Traces, Header, error) {
	var head [8]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return Traces{}, Header{}, fmt.Errorf("traces: beginning: %w", err)
	}
	n := binary.LittleEndian.Uint32(head[4:])
	if string(head[:4]) != magic || n > maxHeader {
		return Traces{}, Header{}, fmt.Errorf("traces: not in the form %s", magic)
	}
	raw := make([]byte, n)
	if _, err := io.ReadFull(r, raw); err != nil {
		return Traces{}, Header{}, fmt.Errorf("traces: header: %w", err)
	}
	var h Header
	if err := json.Unmarshal(bytes.TrimRight(raw, " "), &h); err != nil {
		return Traces{}, Header{}, fmt.Errorf("traces: header: %w", err)
	}
	if h.Version != 1 || h.Points < 0 || h.Points > maxPoints {
		return Traces{}, h, fmt.Errorf("traces: version %d with %d points cannot be read", h.Version, h.Points)
	}
	data, err := io.ReadAll(r)
	if err != nil {
		return Traces{}, h, fmt.Errorf("traces: data: %w", err)
	}
	t, err := h.traces(data)
	return t, h, err
}

func (h Header) traces(data []byte) (Traces, error) {
	t := Traces{ViewFromS: h.FromS, ViewToS: h.ToS, FromTrigger: h.Time.FromTrigger}
	for _, m := range h.Marks {
		t.Marks = append(t.Marks, Mark(m))
	}
	if h.Time.Offset < 0 && len(h.Channels) > 0 && h.Points > len(data) {
		return t, fmt.Errorf("traces: %d points in %d bytes", h.Points, len(data))
	}
	var err error
	if t.TimeS, err = h.times(data); err != nil {
		return t, err
	}
	for _, c := range h.Channels {
		out := Channel{Name: c.Name, Label: c.Label, Quantity: c.Quantity, Position: c.Position, Axis: c.Axis, Unit: c.Unit, Class: c.Class}
		if out.Raw, err = h.values(data, c.Raw); err != nil {
			return t, fmt.Errorf("traces: channel %s: %w", c.Name, err)
		}
		if out.Filtered, err = h.values(data, c.Filtered); err != nil {
			return t, fmt.Errorf("traces: channel %s: %w", c.Name, err)
		}
		t.Channels = append(t.Channels, out)
	}
	return t, nil
}

func (h Header) times(data []byte) ([]float64, error) {
	if h.Time.Offset < 0 {
		if len(h.Channels) == 0 && h.Points > len(data) {
			return nil, nil
		}
		t := make([]float64, h.Points)
		for i := range t {
			t[i] = h.Time.StartS + float64(i)*h.Time.StepS
		}
		return t, nil
	}
	if h.Time.Offset > len(data) || (len(data)-h.Time.Offset)/8 < h.Points {
		return nil, fmt.Errorf("traces: times end after the data")
	}
	t := make([]float64, h.Points)
	for i := range t {
		t[i] = math.Float64frombits(binary.LittleEndian.Uint64(data[h.Time.Offset+8*i:]))
	}
	return t, nil
}

func (h Header) values(data []byte, at int) ([]float64, error) {
	if at < 0 {
		return nil, nil
	}
	if at > len(data) || (len(data)-at)/4 < h.Points {
		return nil, fmt.Errorf("values end after the data")
	}
	v := make([]float64, h.Points)
	for i := range v {
		v[i] = float64(math.Float32frombits(binary.LittleEndian.Uint32(data[at+4*i:])))
	}
	return v, nil
}
