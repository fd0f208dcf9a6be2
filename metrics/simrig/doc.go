// Package simrig is a model of a pneumatic linear ram that strikes a helmeted,
// instrumented head form on a neck and a sliding table. It exists so that
// everything that reads, scores and plans can be proved on signals whose truth
// is known. It is pure: no files, no clock; the same configuration and seed
// give the same shots, byte for byte on one kind of processor.
//
// The model, in the order of a shot:
//
//   - the tank's gas expands polytropically behind the piston, against
//     atmosphere and a seal friction that grows with the strokes since service;
//   - the ram coasts; its flag passes a light gate shortly before contact;
//   - padding between ram and head form pushes by the contact law of Hunt and
//     Crossley (J. Appl. Mech. 42, 1975): F = k d^n (1 + c d'), n = 1.5, whose
//     damping gives the hysteresis and no jump at first touch;
//   - the head form is a rigid body with six degrees of freedom; a viscoelastic
//     neck ties it to a table that slides on rails; a buffer stops the ram;
//   - sensors add noise, offset, cross-axis, sensitivity error, a finite
//     resolution and range, and on request a fault.
//
// Axes and signs are those of SAE J211 for the head: x forward, y right, z
// down (not confirmed against print). Gravity is left out: the baseline takes
// it off a real record. All default constants are plausible figures of this
// model, not of any rig; its bore and mass are chosen so that it reaches about 5 m/s
// near 20 psi (138 kPa gauge), as is common practice on one such ram, with no
// published source. It says nothing of a real rig.
package simrig
