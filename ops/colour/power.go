package colour

import (
	"math"
	"sync"

	"platemark/ops/exact"
)

// The quick power: accurate to powerError, with a table for the logarithm, one
// for the exponential, and short series between. Where its error could change
// a rounded result the caller takes exact.Pow instead, so that it changes no
// value, only the time: a curve's table has 131071 powers.

const (
	// powerError bounds the quick power's relative error for exponents up to
	// maxQuick; the measured error is below 2^-68.
	powerError = 1.0 / (1 << 64)
	maxQuick   = 16
	log2pieces = 7 // pieces of [1, 2) for the logarithm
	exp2pieces = 8 // pieces of an octave for the exponential
)

type powerTables struct {
	inv [1 << log2pieces]float64  // near 1/m, whole numbers of 512ths
	log [1 << log2pieces]exact.DD // -ln(inv)
	exp [1 << exp2pieces]exact.DD // 2^(i/256)
	ln2 exact.DD
	per float64 // 256/ln 2, rounded
}

var power = sync.OnceValue(func() *powerTables {
	t := &powerTables{ln2: exact.Log(exact.Whole(2))}
	for i := range t.inv {
		m := 1 + float64((float64(i)+0.5)/float64(len(t.inv)))
		t.inv[i] = math.Floor(512/m+0.5) / 512
		t.log[i] = exact.Log(exact.Float(t.inv[i])).Neg()
	}
	for i := range t.exp {
		t.exp[i] = exact.Exp(t.ln2.Mul(exact.Float(float64(i) / float64(len(t.exp)))))
	}
	t.per = float64(len(t.exp)) / t.ln2.Hi
	return t
})

// quickPow is (n/d)^g for 0 < n, d below 2^53 and 0 < g <= maxQuick; ok is
// false where it makes no claim.
func quickPow(n, d, g float64) (y exact.DD, ok bool) {
	t := power()
	q := n / d
	p, e := exact.TwoProd(q, d)
	qlo := ((n - p) - e) / d
	// q = m 2^k, 1 <= m < 2
	b := math.Float64bits(q)
	k := int(b>>52) - 1023
	m := math.Float64frombits(b&(1<<52-1) | 1023<<52)
	mlo := qlo * math.Float64frombits(uint64(1023-k)<<52)
	i := b >> (52 - log2pieces) & (1<<log2pieces - 1)
	// r = m inv - 1, |r| < 2^-7
	p, e = exact.TwoProd(m, t.inv[i])
	r := exact.QuickSum(p-1, e+float64(mlo*t.inv[i]))
	// ln(1+r) = r - r^2/2 + r^3 (1/3 - r/4 + ...)
	h := r.Hi
	p, e = exact.TwoProd(h, h)
	s := 1.0 / 9
	for _, c := range [...]float64{1.0 / 8, 1.0 / 7, 1.0 / 6, 1.0 / 5, 1.0 / 4, 1.0 / 3} {
		s = c - float64(h*s)
	}
	half, eh := float64(p*0.5), float64(e*0.5)
	l := exact.QuickSum(-half, float64(float64(p*h)*s)-(eh+float64(h*r.Lo)))
	l = r.Add(l).Add(t.log[i])
	p, e = exact.TwoProd(float64(k), t.ln2.Hi)
	l = l.Add(exact.DD{Hi: p, Lo: e + float64(float64(k)*t.ln2.Lo)})
	// g times that
	p, e = exact.TwoProd(l.Hi, g)
	l = exact.QuickSum(p, e+float64(l.Lo*g))
	if !(math.Abs(l.Hi) < 600) {
		return y, false
	}
	// e^l = 2^(i/256) 2^k e^r, |r| < 2^-9
	c := math.Floor(float64(l.Hi*t.per) + 0.5)
	octaves := float64(c / (1 << exp2pieces))
	p, e = exact.TwoProd(-octaves, t.ln2.Hi)
	r = l.Add(exact.DD{Hi: p, Lo: e - float64(octaves*t.ln2.Lo)})
	h = r.Hi
	p, e = exact.TwoProd(h, h)
	s = 1.0 / 720
	for _, c := range [...]float64{1.0 / 120, 1.0 / 24, 1.0 / 6} {
		s = c + float64(h*s)
	}
	half, eh = float64(p*0.5), float64(e*0.5)
	u := r.Add(exact.QuickSum(half, float64(float64(p*h)*s)+(eh+float64(h*r.Lo))))
	j := int(c)
	x := t.exp[j&(1<<exp2pieces-1)]
	x = x.Add(x.Mul(u))
	scale := math.Float64frombits(uint64(1023+j>>exp2pieces) << 52)
	return exact.DD{Hi: x.Hi * scale, Lo: x.Lo * scale}, true
}

// certain says that y's nearest float64 and the sign of what is left don't
// change when y moves by err.
func certain(y exact.DD, err float64) bool {
	return y.Hi+(y.Lo+err) == y.Hi+(y.Lo-err) && math.Abs(y.Lo) > err
}
