package present

// ResultUnit is the unit that a result is stored and limited in, "" for a bare
// number; ok is false for what no computation here gives.
func ResultUnit(key string) (unit string, ok bool) {
	switch key {
	case "severity_index", "hic15", "hic36", "bric", "gambit", "gambit_b", "damage", "harm", "ric36":
		return "", true
	case "peak_linear_acceleration", "clip_3ms", "clip_3ms_cumulative":
		return "g", true
	case "dwell_150g", "dwell_200g", "impact_duration", "time_to_peak", "pulse_width_50_percent", "pulse_width_10_percent":
		return "s", true
	case "rise_rate":
		return "g/s", true
	case "velocity_change", "impact_speed":
		return "m/s", true
	case "peak_angular_velocity":
		return "rad/s", true
	case "peak_angular_acceleration":
		return "rad/s2", true
	case "ram_energy":
		return "J", true
	default:
		return "", false
	}
}

// ResultKeys are the results of the contract, in the order of the screens.
func ResultKeys() []string { return order() }
