package exact

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

func TestOutOfRangeBecomesSamples(t *testing.T) {
	// Source: golang/go issue 45588 (what a plain conversion gives differs
	// between processors); NaN is 0 by this package's rule.
	nan, inf := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		x    float64
		want uint16
	}{
		{-0.5, 0}, {-1e9, 0}, {65535.49, 65535}, {65535.5, 65535}, {1e20, 65535}, {inf, 65535}, {nan, 0},
		{-inf, 0}, {-1, 0}, {65536, 65535}, {0, 0}, {0.49, 0}, {0.5, 1}, {1.5, 2}, {2.5, 3}, {-0.49, 0},
		{65534.49, 65534}, {65534.5, 65535}, {1 << 40, 65535}, {-1e300, 0}, {4294967296, 65535}, {32768.5, 32769},
	} {
		if got := RoundU16(c.x); got != c.want {
			t.Errorf("RoundU16(%v) = %d, want %d", c.x, got, c.want)
		}
		if got := RoundU16(float32(c.x)); got != c.want || Round32(float32(c.x)) != got {
			t.Errorf("RoundU16(float32 %v) = %d, want %d", c.x, got, c.want)
		}
	}
	for v := range 65536 {
		if RoundU16(float32(v)) != uint16(v) || Round32(float32(v)) != uint16(v) || RoundU16(float64(v)) != uint16(v) {
			t.Fatalf("%d does not stay", v)
		}
	}
	for r, want := range map[string]int64{"1/2": 1, "-1/2": 0, "-3/2": -1, "7/2": 4, "349999/100000": 3, "0": 0, "5": 5} {
		x, _ := new(big.Rat).SetString(r)
		if got := HalfUp(x); got.Int64() != want || x.RatString() != r {
			t.Errorf("HalfUp(%s) = %v, want %d", r, got, want)
		}
	}
}

const prec = 320

func bf(x float64) *big.Float { return new(big.Float).SetPrec(prec).SetFloat64(x) }

func (a DD) big() *big.Float { return new(big.Float).SetPrec(prec).Add(bf(a.Hi), bf(a.Lo)) }

// bits is -log2 of the relative error of got.
func bits(got DD, want *big.Float) int {
	d := new(big.Float).SetPrec(prec).Sub(got.big(), want)
	if d.Sign() == 0 {
		return 999
	}
	if want.Sign() == 0 {
		return -999
	}
	return want.MantExp(nil) - d.MantExp(nil)
}

func bigPi() *big.Float { // Machin's formula
	at := func(n int64) *big.Float {
		sum, term, k := bf(0), new(big.Float).SetPrec(prec).Quo(bf(1), bf(float64(n))), 0
		for term.MantExp(nil) > -prec {
			v := new(big.Float).SetPrec(prec).Quo(term, bf(float64(2*k+1)))
			if k%2 == 1 {
				v.Neg(v)
			}
			sum.Add(sum, v)
			term.Quo(term, bf(float64(n*n)))
			k++
		}
		return sum
	}
	a, b := at(5), at(239)
	return a.Sub(a.Mul(a, bf(16)), b.Mul(b, bf(4)))
}

func bigSinpi(x *big.Float, pi *big.Float) *big.Float {
	// Exact reduction by whole turns, then the plain series.
	half := new(big.Float).SetPrec(prec).Quo(x, bf(2))
	n, _ := half.Int(nil)
	r := new(big.Float).SetPrec(prec).Sub(x, new(big.Float).SetPrec(prec).SetInt(n.Lsh(n, 1)))
	t := r.Mul(r, pi)
	t2 := new(big.Float).SetPrec(prec).Mul(t, t)
	sum, term := bf(0), new(big.Float).SetPrec(prec).Set(t)
	for k := 1; k < 200; k += 2 {
		sum.Add(sum, term)
		term.Mul(term, t2)
		term.Quo(term, bf(float64((k+1)*(k+2))))
		term.Neg(term)
	}
	return sum
}

func bigExp(x *big.Float) *big.Float {
	r := new(big.Float).SetPrec(prec+40).SetMantExp(x, -20)
	sum, term := new(big.Float).SetPrec(prec+40).SetInt64(1), new(big.Float).SetPrec(prec+40).SetInt64(1)
	for k := 1; k < 60; k++ {
		term.Mul(term, r)
		term.Quo(term, bf(float64(k)))
		sum.Add(sum, term)
	}
	for range 20 {
		sum.Mul(sum, sum)
	}
	return sum
}

func bigLog(x *big.Float) *big.Float { // Newton on bigExp from a float64 start
	f, _ := x.Float64()
	y := bf(math.Log(f))
	for range 4 {
		e := bigExp(y)
		d := new(big.Float).SetPrec(prec).Quo(new(big.Float).SetPrec(prec).Sub(x, e), e)
		y.Add(y, d)
	}
	return y
}

func random(rng *rand.Rand, lo, hi float64) DD {
	x := lo + float64((hi-lo)*rng.Float64())
	return DD{x, float64(x*0x1p-54) * (2*rng.Float64() - 1)}.Add(DD{})
}

func TestDoubledAgainstBig(t *testing.T) {
	// Source: math/big with 320 bits and the series above.
	rng := rand.New(rand.NewPCG(5, 6))
	pi := bigPi()
	if b := bits(Pi, pi); b < 106 {
		t.Errorf("Pi has %d bits", b)
	}
	if b := bits(ln2, bigLog(bf(2))); b < 106 {
		t.Errorf("ln2 has %d bits", b)
	}
	worst := map[string]int{}
	note := func(name string, got DD, want *big.Float) {
		if b := bits(got, want); worst[name] == 0 || b < worst[name] {
			worst[name] = b
		}
		if s, e := fastTwoSum(got.Hi, got.Lo); s != got.Hi || e != got.Lo {
			t.Errorf("%s: %v isn't in normal form", name, got)
		}
	}
	z := func() *big.Float { return new(big.Float).SetPrec(prec) }
	for range 20000 {
		a, b := random(rng, -10, 10), random(rng, -3, 3)
		if rng.IntN(4) == 0 { // near-cancelling
			b = a.Neg().Add(DD{float64(a.Hi*0x1p-30) * rng.Float64(), 0})
		}
		note("add", a.Add(b), z().Add(a.big(), b.big()))
		note("mul", a.Mul(b), z().Mul(a.big(), b.big()))
		note("quo", a.Quo(b), z().Quo(a.big(), b.big()))
		if a.Add(b) != b.Add(a) || a.Mul(b) != b.Mul(a) {
			t.Fatalf("%v, %v can't be exchanged", a, b)
		}
	}
	for i := range 400 {
		x := random(rng, -8, 8)
		if i%4 == 0 {
			x = Frac(rng.Int64N(4001)-2000, 1+rng.Int64N(500))
		}
		note("sinpi", Sinpi(x), bigSinpi(x.big(), pi))
		e := random(rng, -40, 40)
		note("exp", Exp(e), bigExp(e.big()))
		note("exp far", Exp(e.Mul(Whole(17))), bigExp(e.Mul(Whole(17)).big()))
		l := random(rng, 1e-6, 4)
		if i%4 == 0 {
			l = Whole(1).Add(random(rng, -1e-5, 1e-5))
		}
		note("log", Log(l), bigLog(l.big()))
		p, q := random(rng, 1e-5, 1.1), random(rng, 0.3, 3)
		note("pow", Pow(p, q), bigExp(z().Mul(bigLog(p.big()), q.big())))
		c := Cbrt(l).big()
		cube := z().Mul(z().Mul(c, c), c)
		rel := z().Quo(z().Sub(cube, l.big()), l.big())
		if rel.Sign() != 0 && rel.MantExp(nil) > -98 { // 3 times a root within 2^-100
			t.Errorf("Cbrt(%v) is off by 2^%d", l, rel.MantExp(nil))
		}
	}
	for _, c := range []struct {
		name string
		bits int
	}{{"add", 102}, {"mul", 102}, {"quo", 102}, {"sinpi", 100}, {"exp", 100}, {"exp far", 96}, {"log", 100}, {"pow", 96}} {
		t.Logf("%s: %d bits", c.name, worst[c.name])
		if worst[c.name] < c.bits {
			t.Errorf("%s has %d bits, promised %d", c.name, worst[c.name], c.bits)
		}
	}
}

func TestSpecialValues(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	for n := int64(-9); n <= 9; n++ {
		if Sinpi(Whole(n)) != (DD{}) && Sinpi(Whole(n)).Hi != 0 {
			t.Errorf("Sinpi(%d) = %v", n, Sinpi(Whole(n)))
		}
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"sinpi 1/2", Sinpi(Frac(1, 2)).Hi, 1}, {"sinpi -3/2", Sinpi(Frac(-3, 2)).Hi, 1},
		{"exp 0", Exp(DD{}).Hi, 1}, {"exp -800", Exp(Whole(-800)).Hi, 0}, {"exp 800", Exp(Whole(800)).Hi, inf},
		{"log 1", Log(Whole(1)).Hi, 0}, {"log 0", Log(DD{}).Hi, -inf}, {"log inf", Log(Float(inf)).Hi, inf},
		{"pow 0", Pow(DD{}, Whole(2)).Hi, 0}, {"pow x^0", Pow(Whole(5), DD{}).Hi, 1},
		{"cbrt 0", Cbrt(DD{}).Hi, 0}, {"cbrt -8", Cbrt(Whole(-8)).Hi, -2},
	} {
		if c.got != c.want {
			t.Errorf("%s = %v, want %v", c.name, c.got, c.want)
		}
	}
	for _, v := range []DD{Sinpi(Float(inf)), Exp(Float(nan)), Log(Whole(-1)), Log(Float(nan)), Pow(Whole(-2), Frac(1, 2))} {
		if v.Hi == v.Hi {
			t.Errorf("%v should be NaN", v)
		}
	}
}

func TestFloat32IsRoundedOnce(t *testing.T) {
	// Source: math/big.Rat.Float32.
	rng := rand.New(rand.NewPCG(7, 8))
	for i := range 100000 {
		a := random(rng, -1, 1)
		if i%2 == 0 { // Hi on a tie between two float32, Lo decides
			a = DD{1 + float64(float64(2*rng.IntN(1<<20)+1)*0x1p-24), float64(rng.IntN(3)-1) * 0x1p-60}
		}
		r := new(big.Rat).SetFloat64(a.Hi)
		r.Add(r, new(big.Rat).SetFloat64(a.Lo))
		if want, _ := r.Float32(); a.Float32() != want {
			t.Fatalf("%v: %v, want %v", a, a.Float32(), want)
		}
		if Rat(r) != a {
			t.Fatalf("Rat(%v) = %v", a, Rat(r))
		}
	}
}

func BenchmarkSinpi(b *testing.B) {
	for b.Loop() {
		Sinpi(Frac(1, 3))
	}
}

func BenchmarkPow(b *testing.B) {
	for b.Loop() {
		Pow(Frac(1, 3), Frac(12, 5))
	}
}
