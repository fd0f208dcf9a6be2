package httppeer

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strconv"

	"thudbook/sync/exchange"
	"thudbook/sync/problem"
	"thudbook/sync/receipt"
	"thudbook/sync/record"
)

// Hello opens a session.
func (c *Client) Hello(ctx context.Context, q exchange.HelloRequest) (exchange.SignedWelcome, error) {
	var a exchange.SignedWelcome
	err := c.ask(ctx, call{method: http.MethodPost, path: "/hello"}, q, &a)
	return a, err
}

// Push sends records as frames.
func (c *Client) Push(ctx context.Context, b exchange.Batch) (receipt.Receipt, error) {
	var a receipt.Receipt
	q := call{method: http.MethodPost, path: "/push/" + b.Origin.String(), origin: b.Origin, want: mediaCBOR,
		header: http.Header{headerSignature: {base64.StdEncoding.EncodeToString(b.HeadSignature)}}}
	c.compressed(&q, mediaRecords, appendFrames(make([]byte, 0, framesSize(b.Records)), b.Records))
	resp, err := c.do(ctx, q)
	if err != nil {
		return a, err
	}
	return a, readAnswer(ctx, c.o.URL, resp, &a)
}

// Receipt asks for the present statement about a chain.
func (c *Client) Receipt(ctx context.Context, o record.Origin) (receipt.Receipt, error) {
	var a receipt.Receipt
	err := c.ask(ctx, call{method: http.MethodGet, path: "/receipts/" + o.String(), origin: o}, nil, &a)
	return a, err
}

// Pull fetches records as frames; every record says itself where it belongs.
func (c *Client) Pull(ctx context.Context, q exchange.PullRequest) ([]exchange.Batch, error) {
	p := call{method: http.MethodPost, path: "/pull"}
	if err := p.encode(q); err != nil {
		return nil, err
	}
	p.want = mediaRecords
	p.header = http.Header{"Accept-Encoding": {encodingZstd}}
	resp, err := c.do(ctx, p)
	if err != nil {
		return nil, err
	}
	records, err := c.codec.records(resp.Body, resp.Header.Get("Content-Encoding"), exchange.MaxBatchBytes+record.MaxBytes)
	if err := errors.Join(err, resp.Body.Close()); err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return nil, streamProblem(err)
	}
	var out []exchange.Batch
	for i, raw := range records {
		r, err := record.Parse(raw)
		if err != nil {
			return nil, &problem.Error{Code: problem.Unavailable, What: "The server sent a record that cannot be read; it was not taken.",
				Where: fmt.Sprintf("record %d of the answer", i+1), Fix: "Tell the administrator of the server, who can run 'thudbook verify'.", Err: err}
		}
		if n := len(out); n == 0 || out[n-1].Origin != r.Origin() {
			out = append(out, exchange.Batch{Origin: r.Origin()})
		}
		last := &out[len(out)-1]
		last.Records = append(last.Records, raw)
	}
	return out, nil
}

// HaveBlobs asks which bytes a lab lacks.
func (c *Client) HaveBlobs(ctx context.Context, lab record.LabID, refs []exchange.BlobRef) ([]exchange.Missing, error) {
	q := haveRequest{Hashes: make([]record.Hash, len(refs)), Sizes: make([]int64, len(refs))}
	sizes := make(map[record.Hash]int64, len(refs))
	for i, b := range refs {
		q.Hashes[i], q.Sizes[i] = b.SHA256, b.Size
		sizes[b.SHA256] = b.Size
	}
	var a haveAnswer
	err := c.ask(ctx, call{method: http.MethodPost, path: "/labs/" + lab.String() + "/blobs/have"}, q, &a)
	if err != nil {
		return nil, err
	}
	missing := make([]exchange.Missing, len(a.Missing))
	for i, h := range a.Missing {
		missing[i] = exchange.Missing{BlobRef: exchange.BlobRef{SHA256: h, Size: sizes[h]}}
		if len(a.Offsets) == len(a.Missing) && a.Offsets[i] >= 0 && a.Offsets[i] <= sizes[h] {
			missing[i].Offset = a.Offsets[i]
		}
	}
	return missing, nil
}

func blobPath(lab record.LabID, h record.Hash) string {
	return "/labs/" + lab.String() + "/blobs/" + h.String()
}

// PutBlob streams bytes. Where the token expires meanwhile, a reader that can
// seek is sent again.
func (c *Client) PutBlob(ctx context.Context, lab record.LabID, b exchange.BlobRef, r io.Reader) error {
	resp, err := c.do(ctx, call{method: http.MethodPut, path: blobPath(lab, b.SHA256), media: mediaBytes, once: r, size: b.Size})
	if err != nil {
		return err
	}
	return drain(resp)
}

// PutPart sends a part in frames, compressed where that is worth it.
func (c *Client) PutPart(ctx context.Context, lab record.LabID, b exchange.BlobRef, offset int64, r io.Reader) (int64, error) {
	size := min(b.Size-offset, exchange.MaxPartBytes)
	if s, ok := r.(*io.SectionReader); ok {
		size = min(size, s.Size())
	}
	media, end := mediaPart, endOfBytes
	if c.blocks.Load() {
		media, end = mediaBlocks, endOfHeads
	}
	body, _, err := encodePart(r, max(size, 0), end)
	if err != nil {
		return 0, fmt.Errorf("read the attachment: %w", err)
	}
	q := call{method: http.MethodPatch, path: "/labs/" + lab.String() + "/uploads/" + b.SHA256.String(), want: mediaCBOR,
		header: http.Header{headerOffset: {strconv.FormatInt(offset, 10)}, headerLength: {strconv.FormatInt(b.Size, 10)}}}
	c.compressed(&q, media, body)
	resp, err := c.do(ctx, q)
	if err != nil {
		return 0, err
	}
	var a partAnswer
	if err := readAnswer(ctx, c.o.URL, resp, &a); err != nil {
		return 0, err
	}
	return a.Offset, nil
}

// GetBlob streams bytes from an offset on; the caller checks the hash.
func (c *Client) GetBlob(ctx context.Context, lab record.LabID, h record.Hash, from int64) (io.ReadCloser, int64, error) {
	q := call{method: http.MethodGet, path: blobPath(lab, h), want: mediaBytes}
	if from > 0 {
		q.header = http.Header{"Range": {fmt.Sprintf("bytes=%d-", from)}}
	}
	resp, err := c.do(ctx, q)
	if err != nil {
		return nil, 0, err
	}
	size := resp.ContentLength
	switch {
	case size < 0:
		err = somebodyElse(c.o.URL, resp)
	case resp.StatusCode == http.StatusPartialContent:
		size += from
		if resp.Header.Get("Content-Range") != fmt.Sprintf("bytes %d-%d/%d", from, size-1, size) {
			err = somebodyElse(c.o.URL, resp)
		}
	case from > 0: // the whole after all: what is here is passed over
		if _, e := io.CopyN(io.Discard, resp.Body, from); e != nil {
			err = inWords(ctx, c.o.URL, e)
		}
	}
	if err != nil {
		return nil, 0, errors.Join(err, resp.Body.Close())
	}
	return &wordedBody{ReadCloser: resp.Body, ctx: ctx, server: c.o.URL}, size, nil
}

// wordedBody says of a cut answer what a technician can do about it.
type wordedBody struct {
	io.ReadCloser
	ctx    context.Context
	server string
}

func (b *wordedBody) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	if err != nil && !errors.Is(err, io.EOF) {
		err = inWords(b.ctx, b.server, err)
	}
	return n, err
}
