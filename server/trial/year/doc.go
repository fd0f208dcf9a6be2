// Package year holds a trial: a simulated year of three labs on two servers,
// compared with a count by an independent script that knows nothing of views.
package year
