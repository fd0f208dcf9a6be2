// Package oldprogram builds earlier commits of this program and shows that
// their agents and servers still work with today's. Its tests are all there is.
package oldprogram
