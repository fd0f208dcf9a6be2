package manual

import (
	"html"
	"io"
	"strings"

	"github.com/yuin/goldmark"
	"github.com/yuin/goldmark/ast"
	"github.com/yuin/goldmark/extension"
	east "github.com/yuin/goldmark/extension/ast"
	"github.com/yuin/goldmark/parser"
	"github.com/yuin/goldmark/renderer"
	"github.com/yuin/goldmark/text"
	"github.com/yuin/goldmark/util"
)

// draw writes a page in Markdown as HTML. A fenced block of the language
// "table" stands for the table that its second word names; the links to the
// agent's screens become plain words where atRig is false.
//
// The pages are ours, yet raw HTML in them is left out: what a page can look
// like is settled here once.
func draw(w io.Writer, source []byte, atRig bool, table func(name string) (string, error)) error {
	md := goldmark.New(
		goldmark.WithExtensions(extension.Table),
		goldmark.WithParserOptions(parser.WithAttribute(), parser.WithASTTransformers(util.Prioritized(tidy{atRig}, 500))),
		goldmark.WithRendererOptions(renderer.WithNodeRenderers(util.Prioritized(parts{table}, 100))),
	)
	return md.Convert(source, w)
}

// tidy takes off the links that lead nowhere here.
type tidy struct{ atRig bool }

// Transform implements parser.ASTTransformer.
func (t tidy) Transform(doc *ast.Document, _ text.Reader, _ parser.Context) {
	if t.atRig {
		return
	}
	var gone []*ast.Link
	_ = ast.Walk(doc, func(n ast.Node, entering bool) (ast.WalkStatus, error) {
		if l, ok := n.(*ast.Link); ok && entering && toRig(string(l.Destination)) {
			gone = append(gone, l)
		}
		return ast.WalkContinue, nil
	})
	for _, l := range gone {
		for c := l.FirstChild(); c != nil; c = l.FirstChild() {
			l.Parent().InsertBefore(l.Parent(), l, c)
		}
		l.Parent().RemoveChild(l.Parent(), l)
	}
}

// toRig says whether an address is a screen of the agent.
func toRig(address string) bool {
	return strings.HasPrefix(address, "/") && address != "/manual" && !strings.HasPrefix(address, "/manual/")
}

// parts draws what differs from the ordinary: code and tables that scroll by
// keyboard, tables whose first column heads its row, warnings, generated tables.
type parts struct {
	table func(name string) (string, error)
}

// RegisterFuncs implements renderer.NodeRenderer.
func (p parts) RegisterFuncs(r renderer.NodeRendererFuncRegisterer) {
	r.Register(ast.KindFencedCodeBlock, p.fenced)
	r.Register(ast.KindBlockquote, warning)
	r.Register(east.KindTable, table)
	r.Register(east.KindTableHeader, row)
	r.Register(east.KindTableRow, row)
	r.Register(east.KindTableCell, cell)
}

func (p parts) fenced(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		return ast.WalkContinue, nil
	}
	block := n.(*ast.FencedCodeBlock)
	if block.Info != nil {
		if name, ok := strings.CutPrefix(string(block.Info.Value(source)), "table "); ok {
			drawn, err := p.table(name)
			_, _ = w.WriteString(drawn)
			return ast.WalkSkipChildren, err
		}
	}
	_, _ = w.WriteString(`<pre tabindex="0">` + html.EscapeString(string(block.Lines().Value(source))) + "</pre>\n")
	return ast.WalkSkipChildren, nil
}

func warning(w util.BufWriter, _ []byte, _ ast.Node, entering bool) (ast.WalkStatus, error) {
	if entering {
		_, _ = w.WriteString(`<div class="notice warn"><span class="shape" aria-hidden="true">▲</span>`)
	} else {
		_, _ = w.WriteString("</div>\n")
	}
	return ast.WalkContinue, nil
}

// table is named after the heading above it.
func table(w util.BufWriter, source []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	if !entering {
		_, _ = w.WriteString("</tbody></table></div>\n")
		return ast.WalkContinue, nil
	}
	name := "Table"
	for above := n.PreviousSibling(); above != nil; above = above.PreviousSibling() {
		if h, ok := above.(*ast.Heading); ok {
			name = string(h.Lines().Value(source)) + ", table"
			break
		}
	}
	_, _ = w.WriteString(`<div class="scroll" role="region" aria-label="` + html.EscapeString(name) + `" tabindex="0"><table>`)
	return ast.WalkContinue, nil
}

func row(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	head := n.Kind() == east.KindTableHeader
	switch {
	case head && entering:
		_, _ = w.WriteString("<thead><tr>")
	case head:
		_, _ = w.WriteString("</tr></thead><tbody>\n")
	case entering:
		_, _ = w.WriteString("<tr>")
	default:
		_, _ = w.WriteString("</tr>\n")
	}
	return ast.WalkContinue, nil
}

func cell(w util.BufWriter, _ []byte, n ast.Node, entering bool) (ast.WalkStatus, error) {
	open, shut := "<td>", "</td>"
	switch {
	case n.Parent().Kind() == east.KindTableHeader:
		open, shut = `<th scope="col">`, "</th>"
	case n.PreviousSibling() == nil:
		open, shut = `<th scope="row">`, "</th>"
	}
	if entering {
		_, _ = w.WriteString(open)
	} else {
		_, _ = w.WriteString(shut)
	}
	return ast.WalkContinue, nil
}
