package impact

import "math"

// eigen finds eigenvalues and orthonormal eigenvectors (in columns) of a symmetric
// matrix by Jacobi rotations (Golub and Van Loan, Matrix Computations, 8.5).
func eigen(a [3][3]float64) (values [3]float64, v [3][3]float64) {
	for i := range 3 {
		v[i][i] = 1
	}
	for range 30 {
		if a[0][1] == 0 && a[0][2] == 0 && a[1][2] == 0 {
			break
		}
		for p := range 2 {
			for q := p + 1; q < 3; q++ {
				rotate(&a, &v, p, q)
			}
		}
	}
	return [3]float64{a[0][0], a[1][1], a[2][2]}, v
}

// rotate makes a[p][q] zero.
func rotate(a, v *[3][3]float64, p, q int) {
	if a[p][q] == 0 {
		return
	}
	theta := (a[q][q] - a[p][p]) / (2 * a[p][q])
	t := 1 / (math.Abs(theta) + math.Sqrt(theta*theta+1))
	if theta < 0 {
		t = -t
	}
	c := 1 / math.Sqrt(t*t+1)
	s := t * c
	for k := range 3 {
		a[k][p], a[k][q] = c*a[k][p]-s*a[k][q], s*a[k][p]+c*a[k][q]
	}
	for k := range 3 {
		a[p][k], a[q][k] = c*a[p][k]-s*a[q][k], s*a[p][k]+c*a[q][k]
	}
	for k := range 3 {
		v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
	}
	a[p][q], a[q][p] = 0, 0
}

// exponential is the matrix exponential by scaling, Taylor series and squaring.
func exponential(a [4][4]float64) [4][4]float64 {
	norm := 0.0
	for i := range 4 {
		row := 0.0
		for j := range 4 {
			row += math.Abs(a[i][j])
		}
		norm = max(norm, row)
	}
	squarings := 0
	if math.IsInf(norm, 1) || math.IsNaN(norm) { // no step can be that long
		return [4][4]float64{{math.NaN(), math.NaN(), math.NaN(), math.NaN()}, {math.NaN(), math.NaN(), math.NaN(), math.NaN()}}
	}
	for ; norm > 0.25; norm /= 2 {
		squarings++
	}
	scale := math.Ldexp(1, -squarings)
	var sum, term [4][4]float64
	for i := range 4 {
		sum[i][i], term[i][i] = 1, 1
		for j := range 4 {
			a[i][j] *= scale
		}
	}
	for k := 1; k <= 16; k++ {
		term = multiply(term, a)
		for i := range 4 {
			for j := range 4 {
				term[i][j] /= float64(k)
				sum[i][j] += term[i][j]
			}
		}
	}
	for range squarings {
		sum = multiply(sum, sum)
	}
	return sum
}

func multiply(a, b [4][4]float64) (c [4][4]float64) {
	for i := range 4 {
		for k := range 4 {
			for j := range 4 {
				c[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return c
}
