//go:build race

package world_test

// The race detector makes a world several times slower.
const defaultSeeds, tracedSeeds = 6, 1
