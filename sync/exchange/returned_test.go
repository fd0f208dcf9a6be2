package exchange_test

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"

	"thudbook/sync/exchange"
	"thudbook/sync/exchange/exchangetest"
	"thudbook/sync/lab/labtest"
	"thudbook/sync/record"
)

var errCutOff = errors.New("the connection was cut")

// cutAtParts lets no part of an attachment through.
type cutAtParts struct{ exchange.Peer }

func (cutAtParts) PutPart(context.Context, record.LabID, exchange.BlobRef, int64, io.Reader) (int64, error) {
	return 0, errCutOff
}

// A server that was set back gets its own records again, and their attachments
// too where the session that returned the records is cut before them: after it
// nothing but the agent's own note shows that they are missing.
func TestReturnedAttachmentsSurviveACut(t *testing.T) {
	t.Parallel()
	for name, large := range map[string]bool{"sources": false, "films": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c := newScene(t)
			c.fire(c.server, "server, early", 1)
			c.settle()
			backup := c.copyOf(c.server)
			c.serve()
			c.fire(c.server, "server", 2)
			film := record.Attachment{Role: "video", Media: "video/mp4"}
			if large {
				ref, err := c.server.Blobs.Put(t.Context(), strings.NewReader(strings.Repeat("film", 1<<19)), 0)
				if err != nil {
					t.Fatal(err)
				}
				film.SHA256, film.Size = ref.SHA256, ref.Size
				labtest.Append(t, c.server.Ledger, c.lab, labtest.Draft(t, exchangetest.Lab(t), labtest.Shot(labtest.ID("rig"), labtest.Start()), film))
			}
			c.settle()
			c.server.Stop(t)
			c.server = c.open(backup)
			c.serve()

			o := exchangetest.Options(c.agent, c.service)
			p := exchangetest.Principal(c.agent, c.lab)
			res, err := exchange.Run(t.Context(), o, cutAtParts{c.service.For(p)})
			if !errors.Is(err, errCutOff) || res.GivenBack == 0 {
				t.Fatalf("gave %d records back, %v; want some, and a cut", res.GivenBack, err)
			}
			if res, err = exchange.Run(t.Context(), o, c.service.For(p)); err != nil || res.GivenBack != 0 || res.BlobsSent == 0 {
				t.Fatalf("gave %d records and %d attachments back, %v; want attachments alone", res.GivenBack, res.BlobsSent, err)
			}
			exchangetest.Same(t, c.agent, c.server, true, c.lab)
			if large {
				if err := c.server.Blobs.Verify(t.Context(), film.SHA256); err != nil {
					t.Error(err)
				}
			}
			if res, err = exchange.Run(t.Context(), o, c.service.For(p)); err != nil || res.BlobsSent != 0 {
				t.Errorf("then %d attachments are sent, %v, want none", res.BlobsSent, err)
			}
			c.fire(c.server, "server, in its next chain", 1)
			c.settle()
		})
	}
}
