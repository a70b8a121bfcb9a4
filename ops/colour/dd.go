package colour

import "math"

// dd is an unevaluated sum hi + lo with |lo| <= ulp(hi)/2: about 106 bits.
// Every product that meets an addition is wrapped in a conversion, so that no
// machine fuses the two; all of it is then plain IEEE arithmetic, the same
// everywhere.
type dd struct{ hi, lo float64 }

func quickTwoSum(a, b float64) dd { // needs |a| >= |b|
	s := a + b
	return dd{s, b - (s - a)}
}

func twoSum(a, b float64) dd {
	s := a + b
	t := s - a
	return dd{s, (a - (s - t)) + (b - t)}
}

// split cuts a double into two halves of 26 bits whose sum it is
// (Dekker 1971). |a| must stay below 2^996.
func split(a float64) (h, l float64) {
	t := float64(134217729 * a)
	h = t - (t - a)
	return h, a - h
}

// twoProd is a*b exactly (Dekker 1971).
func twoProd(a, b float64) dd {
	p := float64(a * b)
	ah, al := split(a)
	bh, bl := split(b)
	e := float64(ah*bh) - p
	e += float64(ah * bl)
	e += float64(al * bh)
	e += float64(al * bl)
	return dd{p, e}
}

func (a dd) add(b dd) dd {
	s := twoSum(a.hi, b.hi)
	t := twoSum(a.lo, b.lo)
	s = quickTwoSum(s.hi, s.lo+t.hi)
	return quickTwoSum(s.hi, s.lo+t.lo)
}

func (a dd) addF(b float64) dd {
	s := twoSum(a.hi, b)
	return quickTwoSum(s.hi, s.lo+a.lo)
}

func (a dd) mul(b dd) dd {
	p := twoProd(a.hi, b.hi)
	c := float64(a.hi * b.lo)
	c += float64(a.lo * b.hi)
	return quickTwoSum(p.hi, p.lo+c)
}

func (a dd) mulF(b float64) dd {
	p := twoProd(a.hi, b)
	return quickTwoSum(p.hi, p.lo+float64(a.lo*b))
}

// divF is a/b for doubles, to about 2^-104.
func divF(a, b float64) dd {
	q := a / b
	p := twoProd(q, b)
	r := (a - p.hi) - p.lo
	return quickTwoSum(q, r/b)
}

func (a dd) div(b dd) dd {
	q := a.hi / b.hi
	r := a.add(b.mulF(-q))
	q2 := r.hi / b.hi
	r = r.add(b.mulF(-q2))
	return quickTwoSum(q, q2).addF(r.hi / b.hi)
}

// neg is exact.
func (a dd) neg() dd { return dd{-a.hi, -a.lo} }

// Tables for the logarithm and the exponential, and the reciprocals of small
// integers; made once from series in dd.
type ddTables struct {
	ln2   dd
	inv   [128]float64 // about 1/(1 + (i+1/2)/128), a whole number of 512ths
	logs  [128]dd      // -ln(inv[i])
	exps  [256]dd      // 2^(i/256)
	recip [16]dd       // 1/n
	fact  [16]dd       // 1/n!
}

var ddT = makeDDTables()

func makeDDTables() *ddTables {
	t := new(ddTables)
	for n := 1; n < len(t.recip); n++ {
		t.recip[n] = divF(1, float64(n))
	}
	t.fact[0] = dd{1, 0}
	for n := 1; n < len(t.fact); n++ {
		f := 1.0
		for k := 2; k <= n; k++ {
			f *= float64(k) // exact up to 18!
		}
		t.fact[n] = divF(1, f)
	}
	// ln 2 = 18 atanh(1/26) - 2 atanh(1/4801) + 8 atanh(1/8749) (Machin-like).
	t.ln2 = atanhInv(26).mulF(18).add(atanhInv(4801).mulF(-2)).add(atanhInv(8749).mulF(8))
	// m in [1, 2) is cut into 128 pieces; m*inv - 1 is below 2^-7 in size.
	for i := range t.inv {
		m := 1 + (float64(i)+0.5)/128
		t.inv[i] = math.Floor(512/m+0.5) / 512
		// -ln(inv) = 2 atanh((1-inv)/(1+inv)), both ends exact
		t.logs[i] = atanh(divF(1-t.inv[i], 1+t.inv[i])).mulF(2)
	}
	t.exps[0] = dd{1, 0}
	// e^(ln2/256) from its series, then powers by squaring and one product.
	step := expSeries(t, t.ln2.mulF(1.0/256))
	for i := 1; i < 256; i++ {
		if i%2 == 0 {
			t.exps[i] = t.exps[i/2].mul(t.exps[i/2])
		} else {
			t.exps[i] = t.exps[i-1].mul(step)
		}
	}
	return t
}

func atanhInv(n float64) dd { return atanh(divF(1, n)) }

// atanh is the plain series, for |x| <= 1/3.
func atanh(x dd) dd {
	x2 := x.mul(x)
	sum := dd{}
	for k := 71; k >= 1; k -= 2 {
		sum = sum.mul(x2).add(divF(1, float64(k)))
	}
	return sum.mul(x)
}

func expSeries(t *ddTables, r dd) dd {
	s := t.fact[15]
	for n := 14; n >= 0; n-- {
		s = s.mul(r).add(t.fact[n])
	}
	return s
}

// ln is the natural logarithm of x > 0, within about 2^-104 plus 2^-105 of
// its own size. (Near 1 that isn't relative to the result, which a power
// doesn't need.)
func (x dd) ln() dd {
	m, e := math.Frexp(x.hi) // [0.5, 1)
	m *= 2
	e--
	i := int((m - 1) * 128)
	r := dd{m, math.Ldexp(x.lo, -e)}
	if i == 0 {
		return log1p(r.addF(-1)).add(ddT.ln2.mulF(float64(e)))
	}
	return log1p(r.mulF(ddT.inv[i]).addF(-1)).add(ddT.logs[i]).add(ddT.ln2.mulF(float64(e)))
}

// log1p is ln(1+r) for |r| <= 2^-7, by its series: seven terms in dd, eight
// more, whose rounding is below 2^-108, in double.
func log1p(r dd) dd {
	s := 0.0
	for k := 15; k > 7; k-- {
		s = ddT.recip[k].hi - float64(r.hi*s)
	}
	t := dd{s, 0}
	for k := 7; k >= 1; k-- {
		t = ddT.recip[k].add(r.mul(t).neg())
	}
	return t.mul(r)
}

// exp is e^y for -745 < y < 709, to about 2^-100 of its size above the
// denormal range.
func (y dd) exp() dd {
	k := math.Floor(float64(y.hi*(256/math.Ln2)) + 0.5)
	r := y.add(ddT.ln2.mulF(-k / 256)) // |r| < 2^-9.5
	n := int(k)
	j := n & 255
	e := (n - j) / 256
	s := 0.0
	for i := 10; i > 5; i-- {
		s = float64(r.hi*s) + ddT.fact[i].hi
	}
	t := dd{s, 0}
	for i := 5; i >= 1; i-- {
		t = t.mul(r).add(ddT.fact[i])
	}
	t = t.mul(r)
	p := ddT.exps[j]
	p = p.add(p.mul(t))
	return dd{math.Ldexp(p.hi, e), math.Ldexp(p.lo, e)}
}

// pow is x^g for x > 0 and a double g, where g*ln(x) lies within exp's range.
func (x dd) pow(g float64) dd { return x.ln().mulF(g).exp() }
