package simrig

import "math"

// Location is where the ram meets the helmet. Names are trade words for ram
// tests; the angles and points are this model's own.
type Location struct {
	Name      string
	Direction [3]float64 // of the ram's travel, head axes, length one
	PointM    [3]float64 // of first contact, from the centre of gravity
	Stiffness float64    // of the padding here, relative
}

// Locations lists where this model can strike, in a fixed order.
func Locations() []Location {
	h := math.Sqrt2 / 2
	return []Location{
		{"front", [3]float64{-1, 0, 0}, [3]float64{0.130, 0.004, -0.030}, 1.00},
		{"front boss", [3]float64{-h, h, 0}, [3]float64{0.098, -0.080, -0.028}, 1.05},
		{"side", [3]float64{0, 1, 0}, [3]float64{0.012, -0.125, -0.030}, 0.95},
		{"rear boss cg", [3]float64{h, h, 0}, [3]float64{-0.090, -0.092, -0.020}, 1.05},
		{"rear boss nc", [3]float64{h, h, 0}, [3]float64{-0.062, -0.112, -0.014}, 0.95},
		{"rear", [3]float64{1, 0, 0}, [3]float64{-0.128, -0.004, -0.028}, 1.10},
		{"guard centre", [3]float64{-1, 0, 0}, [3]float64{0.150, 0.004, 0.034}, 0.70},
		{"guard side", [3]float64{-0.6, 0.8, 0}, [3]float64{0.120, -0.092, 0.030}, 0.75},
	}
}

// FindLocation looks a location up by its name.
func FindLocation(name string) (Location, bool) {
	for _, l := range Locations() {
		if l.Name == name {
			return l, true
		}
	}
	return Location{}, false
}
