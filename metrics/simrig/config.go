package simrig

// Config describes a rig. Start from Default: a zero value of a physical
// quantity is not replaced.
type Config struct {
	Name string
	Seed uint64

	RateHz               float64 // of the acquisition
	PreS, PostS          float64 // before and after first contact
	TwelveChannels       bool    // adds neck force, tank pressure, ram force
	GateInverted         bool    // the gate's level is high when clear
	StrokesBefore        int     // ever, before the first shot of this Rig
	StrokesBeforeService int     // since the last service, before the first shot

	Ram     Ram
	Head    Head
	Padding Padding
	Sensors Sensors
}

// Ram is the pneumatic part and its guide.
type Ram struct {
	MassKG         float64
	BoreM2         float64 // piston area
	StrokeM        float64 // driven stroke
	TankM3         float64
	Polytropic     float64 // exponent of the expansion
	SealFrictionN  float64 // right after service
	WearPerStroke  float64 // relative growth of the seal friction for each stroke
	GuideFrictionN float64
	CoastM         float64 // from the end of the driven stroke to contact
	RatedKPa       float64 // gauge; no shot above it
	PressureSDKPa  float64 // scatter of the tank's pressure at release
	FrictionSD     float64 // relative scatter of the seal friction
	FlagMM         float64 // nominal width
	FlagSDMM       float64 // how far this rig's flag is from nominal
	GateGapM       float64 // ram to contact when the flag leaves the beam
	BeamM          float64 // width of the light beam
	BufferGapM     float64 // from contact to the buffer
	BufferNM       float64 // stiffness, N/m
	BufferNSM      float64 // damping, N s/m
}

// Head is the helmeted head form, its neck and the table.
type Head struct {
	MassKG      float64    // with helmet
	InertiaKGM2 [3]float64 // about the centre of gravity, head axes
	NeckJointM  [3]float64 // from the centre of gravity
	NeckNM      [3]float64 // translational stiffness along x, y, z, N/m
	NeckNSM     [3]float64 // translational damping, N s/m
	NeckNMRad   float64    // rotational stiffness
	NeckNMSRad  float64    // rotational damping
	TableKG     float64
	RailNSM     float64 // damping of the table on its rails, N s/m
}

// Padding is what lies between ram and head form.
type Padding struct {
	StiffnessNM15 float64 // k of F = k d^1.5 (1 + c d'), N/m^1.5
	DampingSM     float64 // c, s/m
	StiffnessSD   float64 // relative scatter from shot to shot
}

// Sensors says how good the chain from sensor to file is.
type Sensors struct {
	LinearFullScaleG   float64
	RateFullScaleRadS  float64
	ForceFullScaleN    float64
	RamFullScaleN      float64
	PressureFullKPa    float64
	Bits               int     // of the converter
	NoiseOfFullScale   float64 // standard deviation
	OffsetOfFullScale  float64 // standard deviation over sensors
	SensitivitySD      float64 // relative, over sensors
	CrossAxisSD        float64 // relative, over sensors
	GateVolts          float64 // step of the light gate
	GateNoiseV         float64
	ContactJitterMM    float64 // where the ram meets the helmet
	ExpandedPercent    float64 // stated for each sensor (k = 2)
	GateExpandedPct    float64 // stated for the flag's width (k = 2); 0: not stated
	LinearCFC, RateCFC int     // SAE J211 channel frequency classes for the map
	ForceCFC           int
}

// Default is a rig of plausible figures: 15 kg, about 5 m/s at 138 kPa gauge,
// 20 kHz, 50 ms before and 150 ms after contact.
func Default(seed uint64) Config {
	return Config{
		Name: "simulated rig", Seed: seed,
		RateHz: 20000, PreS: 0.050, PostS: 0.150,
		Ram: Ram{
			MassKG: 15, BoreM2: 4.418e-3, StrokeM: 0.42, TankM3: 0.015, Polytropic: 1.3,
			SealFrictionN: 85, WearPerStroke: 0.0004, GuideFrictionN: 8,
			CoastM: 0.060, RatedKPa: 700, PressureSDKPa: 0.4, FrictionSD: 0.05,
			FlagMM: 25, FlagSDMM: 0.008, GateGapM: 0.012, BeamM: 0.001,
			BufferGapM: 0.055, BufferNM: 150e3, BufferNSM: 2500,
		},
		Head: Head{
			MassKG: 6.4, InertiaKGM2: [3]float64{0.036, 0.042, 0.034},
			NeckJointM: [3]float64{-0.012, 0, 0.055},
			NeckNM:     [3]float64{14e3, 12e3, 150e3}, NeckNSM: [3]float64{110, 100, 300},
			NeckNMRad: 110, NeckNMSRad: 1.6,
			TableKG: 13, RailNSM: 20,
		},
		Padding: Padding{StiffnessNM15: 2.3e6, DampingSM: 0.10, StiffnessSD: 0.015},
		Sensors: Sensors{
			LinearFullScaleG: 500, RateFullScaleRadS: 140, ForceFullScaleN: 13000,
			RamFullScaleN: 40000, PressureFullKPa: 1000,
			Bits: 16, NoiseOfFullScale: 0.0004, OffsetOfFullScale: 0.001,
			SensitivitySD: 0.005, CrossAxisSD: 0.008,
			GateVolts: 4.6, GateNoiseV: 0.02, ContactJitterMM: 1,
			ExpandedPercent: 2, LinearCFC: 1000, RateCFC: 180, ForceCFC: 1000,
		},
	}
}
