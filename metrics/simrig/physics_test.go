package simrig_test

import (
	"math"
	"testing"

	"thudbook/metrics/simrig"
)

func TestEnergyBalance(t *testing.T) {
	r := simrig.New(simrig.Default(8))
	for _, kPa := range []float64{50, 138, 300, 600} {
		for _, l := range simrig.Locations() {
			e := fire(t, r, simrig.Command{PressureKPa: kPa, Location: l.Name}).Truth.Energy
			launch := e.SealJ + e.GuideJ + e.RamAtContactJ
			if math.Abs(launch-e.GasWorkJ) > 1e-3*e.GasWorkJ {
				t.Errorf("%s, %g kPa: gas work %.3f J, friction and ram %.3f J", l.Name, kPa, e.GasWorkJ, launch)
			}
			lost := e.PaddingJ + e.NeckJ + e.RailJ + e.BufferJ + e.GuideRun
			kept := e.RamEndJ + e.HeadEndJ + e.TableEndJ + e.StoredEndJ
			if math.Abs(lost+kept-e.RamAtContactJ) > 1e-3*e.RamAtContactJ {
				t.Errorf("%s, %g kPa: ram brings %.3f J, lost %.3f J, kept %.3f J", l.Name, kPa, e.RamAtContactJ, lost, kept)
			}
			for name, j := range map[string]float64{"padding": e.PaddingJ, "neck": e.NeckJ, "rail": e.RailJ, "seal": e.SealJ} {
				if j <= 0 {
					t.Errorf("%s, %g kPa: %s loses %.3f J, want above 0", l.Name, kPa, name, j)
				}
			}
		}
	}
}

// Polytropic expansion work in closed form (any thermodynamics text):
// (p0 V0 - p1 V1)/(n - 1), less the work against the atmosphere; and as the
// tank grows, p A L of a constant pressure.
func TestGasWork(t *testing.T) {
	cfg := simrig.Default(1)
	cfg.Ram.PressureSDKPa = 0
	ra := cfg.Ram
	const kPa = 138
	v0, v1 := ra.TankM3, ra.TankM3+ra.BoreM2*ra.StrokeM
	p0 := (kPa + 101.325) * 1e3
	p1 := p0 * math.Pow(v0/v1, ra.Polytropic)
	want := (p0*v0-p1*v1)/(ra.Polytropic-1) - 101325*(v1-v0)
	if got := ra.GasWorkJ(kPa); math.Abs(got-want) > 1e-9*want {
		t.Errorf("work = %.6f J, want %.6f", got, want)
	}
	got := fire(t, simrig.New(cfg), simrig.Command{PressureKPa: kPa, Location: "side"}).Truth.Energy.GasWorkJ
	if math.Abs(got-want) > 1e-5*want {
		t.Errorf("integrated work = %.6f J, want %.6f", got, want)
	}
	ra.TankM3 = 1e4
	if got, want := ra.GasWorkJ(kPa), kPa*1e3*ra.BoreM2*ra.StrokeM; math.Abs(got-want) > 1e-4*want {
		t.Errorf("work of a huge tank = %.4f J, want p A L = %.4f", got, want)
	}
	ra = cfg.Ram
	for _, v := range []float64{2, 5, 9} {
		if got := ra.SpeedFor(ra.PressureFor(v)); math.Abs(got-v) > 1e-9 {
			t.Errorf("chart: %g m/s comes back as %g", v, got)
		}
	}
}

// free is a ram against a free rigid head form: no neck, no guide friction, no
// scatter. turning false makes the head too heavy to turn.
func free(damping float64, turning bool) simrig.Config {
	cfg := simrig.Default(1)
	cfg.RateHz, cfg.PostS = 200e3, 0.06
	cfg.Ram.GuideFrictionN, cfg.Ram.PressureSDKPa, cfg.Ram.FrictionSD, cfg.Ram.BufferGapM = 0, 0, 0, 10
	cfg.Sensors.ContactJitterMM = 0
	cfg.Padding = simrig.Padding{StiffnessNM15: 2.3e6, DampingSM: damping}
	h := &cfg.Head
	h.NeckNM, h.NeckNSM, h.NeckNMRad, h.NeckNMSRad, h.RailNSM = [3]float64{}, [3]float64{}, 0, 0, 0
	h.InertiaKGM2 = [3]float64{1e6, 1e6, 1e6}
	if turning {
		h.InertiaKGM2 = [3]float64{0.4, 0.5, 0.4} // turns, but little during the pulse
	}
	return cfg
}

// Two free bodies and a Hertzian spring (n = 1.5) without damping: speeds of an
// elastic collision; greatest approach (5 m v²/(4 k))^(2/5) and duration 2.9432
// times approach over speed (Hertz 1882, as in Goldsmith, Impact, 1960; not
// confirmed against print).
func TestElasticCollision(t *testing.T) {
	cfg := free(0, false)
	for _, speed := range []float64{2, 5, 8} {
		tr := fire(t, simrig.New(cfg), simrig.Command{PressureKPa: cfg.Ram.PressureFor(speed), Location: "front"}).Truth
		v, m1, m2 := tr.ContactSpeedMS, cfg.Ram.MassKG, cfg.Head.MassKG
		head := math.Sqrt(2 * tr.Energy.HeadEndJ / m2)
		if want := 2 * m1 / (m1 + m2) * v; math.Abs(head-want) > 1e-3*want {
			t.Errorf("%g m/s: head form leaves with %.4f m/s, want %.4f", speed, head, want)
		}
		mu := m1 * m2 / (m1 + m2)
		crush := math.Pow(5*mu*v*v/(4*cfg.Padding.StiffnessNM15), 0.4)
		if math.Abs(tr.CrushM-crush) > 1e-3*crush {
			t.Errorf("%g m/s: crush %.5f m, want %.5f", speed, tr.CrushM, crush)
		}
		if want := 2.9432 * crush / v; math.Abs(tr.ContactS-want) > 5e-3*want {
			t.Errorf("%g m/s: contact %.5f s, want %.5f", speed, tr.ContactS, want)
		}
		if want := cfg.Padding.StiffnessNM15 * math.Pow(crush, 1.5) / m2 / 9.80665; math.Abs(tr.PeakLinearG-want) > 1e-3*want {
			t.Errorf("%g m/s: peak %.3f g, want %.3f", speed, tr.PeakLinearG, want)
		}
	}
}

// Hunt and Crossley (J. Appl. Mech. 42, 1975, 440-445): with a damping factor
// c = 3a/2 the coefficient of restitution is 1 - a v for small a v (not
// confirmed against print).
func TestRestitutionOfThePadding(t *testing.T) {
	cfg := free(0.02, false)
	tr := fire(t, simrig.New(cfg), simrig.Command{PressureKPa: cfg.Ram.PressureFor(2), Location: "front"}).Truth
	ram := math.Sqrt(2 * tr.Energy.RamEndJ / cfg.Ram.MassKG)
	head := math.Sqrt(2 * tr.Energy.HeadEndJ / cfg.Head.MassKG)
	got, want := (head-ram)/tr.ContactSpeedMS, 1-2./3*0.02*tr.ContactSpeedMS
	if math.Abs(got-want) > 1e-3 {
		t.Errorf("restitution = %.5f, want %.5f", got, want)
	}
}

// A free rigid body turns with angular impulse over inertia: w = J d / I.
func TestLeverArmTurnsTheHead(t *testing.T) {
	cfg := free(0.05, true)
	s := fire(t, simrig.New(cfg), simrig.Command{PressureKPa: cfg.Ram.PressureFor(5), Location: "front"})
	tr, at := s.Truth, len(s.Channels[0].Values)-1
	w := s.Channel("wy").Values[at]
	turn := 0.5 * cfg.Head.InertiaKGM2[1] * w * w
	impulse := cfg.Head.MassKG * math.Sqrt(2*(tr.Energy.HeadEndJ-turn)/cfg.Head.MassKG)
	want := impulse * 0.030 / cfg.Head.InertiaKGM2[1]
	if math.Abs(w-want) > 0.15 { // the sensor's offset and noise are about 0.15 rad/s
		t.Errorf("wy = %.3f rad/s, want %.3f", w, want)
	}
}

func TestFinerStepsGiveTheSameShot(t *testing.T) {
	peak := func(rate float64) simrig.Truth {
		cfg := simrig.Default(1)
		cfg.RateHz = rate
		return fire(t, simrig.New(cfg), simrig.Command{PressureKPa: 200, Location: "guard side"}).Truth
	}
	a, b := peak(20e3), peak(200e3)
	if math.Abs(a.PeakLinearG-b.PeakLinearG) > 1e-3*b.PeakLinearG || math.Abs(a.PeakRateRadS-b.PeakRateRadS) > 1e-3*b.PeakRateRadS {
		t.Errorf("20 kHz: %.4f g, %.4f rad/s; 200 kHz: %.4f g, %.4f rad/s", a.PeakLinearG, a.PeakRateRadS, b.PeakLinearG, b.PeakRateRadS)
	}
}
