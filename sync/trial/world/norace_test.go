//go:build !race

package world_test

const defaultSeeds, tracedSeeds = 40, 4
