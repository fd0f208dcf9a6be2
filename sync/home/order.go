package home

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"thudbook/sync/problem"
)

// Order is what a running node does when the owner of its folder asks for it on
// the command line; the result is what a person reads.
type Order func(ctx context.Context, words map[string]string) (string, error)

// The names of orders.
const (
	OrderNewKey   = "new-key"  // an agent changes its key
	OrderNewPIN   = "new-pin"  // an agent gives a person a new PIN: name
	OrderWithdraw = "withdraw" // a server withdraws an agent: agent, reason
	// OrderServerKey is about the key that a server proves itself with: do
	// (state, announce or use), anyway (yes).
	OrderServerKey = "server-key"
)

// OnOrder has a running node carry out an order under a name. The same name
// again replaces it.
func (h *Home) OnOrder(name string, do Order) {
	h.orderMu.Lock()
	defer h.orderMu.Unlock()
	if h.orders == nil {
		h.orders = make(map[string]Order)
	}
	h.orders[name] = do
}

func (c *control) order(w http.ResponseWriter, r *http.Request) (any, error) {
	var words map[string]string
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, 64<<10)).Decode(&words); err != nil {
		return nil, fmt.Errorf("read the order: %w", err)
	}
	c.home.orderMu.Lock()
	do := c.home.orders[r.PathValue("name")]
	c.home.orderMu.Unlock()
	if do == nil {
		return nil, problem.New(problem.Invalid, "the program that has this folder open does not do that", "see whether it is the folder of an agent or of a server, and which of them the command is for")
	}
	return do(r.Context(), words)
}

// Do has the process carry out an order, and gives what it says.
func (r *Running) Do(ctx context.Context, name string, words map[string]string) (said string, err error) {
	err = r.send(ctx, http.MethodPost, "/v1/order/"+name, words, &said)
	return said, err
}
