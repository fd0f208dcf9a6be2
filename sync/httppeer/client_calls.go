package httppeer

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net/http"

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
	q.bytes(mediaRecords, appendFrames(make([]byte, 0, framesSize(b.Records)), b.Records))
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
	resp, err := c.do(ctx, p)
	if err != nil {
		return nil, err
	}
	records, err := readFrames(resp.Body, exchange.MaxBatchBytes+record.MaxBytes)
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
func (c *Client) HaveBlobs(ctx context.Context, lab record.LabID, hashes []record.Hash) ([]record.Hash, error) {
	var a haveAnswer
	err := c.ask(ctx, call{method: http.MethodPost, path: "/labs/" + lab.String() + "/blobs/have"}, haveRequest{Hashes: hashes}, &a)
	return a.Missing, err
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

// GetBlob streams bytes; the caller checks the hash.
func (c *Client) GetBlob(ctx context.Context, lab record.LabID, h record.Hash) (io.ReadCloser, int64, error) {
	resp, err := c.do(ctx, call{method: http.MethodGet, path: blobPath(lab, h), want: mediaBytes})
	if err != nil {
		return nil, 0, err
	}
	if resp.ContentLength < 0 {
		return nil, 0, errors.Join(somebodyElse(c.o.URL, resp), resp.Body.Close())
	}
	return resp.Body, resp.ContentLength, nil
}
