package marsh

// The tree: an old one, bare, on the bank at the left. Limbs are strokes;
// each gives off finer ones until they are twigs.
const (
	treeX    = 0.335
	treeY    = 0.855
	twigEnd  = 0.00013 // half the thinnest twig's width: about 1 px of 4096
	barkRim  = 0.085
	treeSeed = 41
)

var (
	bark = code(0.075, 0.063, 0.060)
	twig = code(0.125, 0.098, 0.090)
)

type grower struct {
	w *world
	d dice
}

func (w *world) plantTree() {
	g := &grower{w: w, d: dice{seed: treeSeed}}
	// Roots flare into the bank.
	for _, r := range [][3]float32{{-0.060, 0.020, 0.008}, {0.058, 0.022, 0.009}, {-0.025, 0.030, 0.010}, {0.028, 0.028, 0.010}} {
		w.newStroke([]node{
			{treeX + r[0], treeY + r[1], 0.001, 0},
			{treeX + float32(r[0]*0.45), treeY + float32(r[1]*0.3), r[2] * 0.8, 0},
			{treeX + float32(r[0]*0.1), treeY - 0.040, 0.012, 0}}, bark, bark, barkRim*0.4)
	}
	g.limb(treeX, treeY+0.012, 0.02, 0.205, 0.0225, 0, 0)
}

// limbs says how limbs of each depth grow: in how many pieces, how thin they end
// and how far they wander; how many forks and side limbs they give off, and how
// much shorter those of the fork are.
var limbs = [9]struct {
	pieces      int
	end, wander float32
	fork, sides int
	shrink      float32
}{
	{9, 0.62, 0.10, 4, 1, 1},
	{9, 0.62, 0.20, 2, 2, 1},
	{9, 0.42, 0.30, 2, 3, 1},
	{9, 0.42, 0.34, 2, 4, 1},
	{5, 0.42, 0.34, 2, 5, 0.82},
	{5, 0.30, 0.30, 2, 5, 0.82},
	{5, 0.30, 0.26, 2, 5, 0.82},
	{5, 0.30, 0.24, 2, 4, 0.82},
	{5, 0.30, 0.24, 0, 0, 0},
}

// limb grows one limb from (x, y). angle is from upright, to the right
// positive; r is half its width at the foot.
func (g *grower) limb(x, y, angle, long, r, from float32, depth int) {
	how := &limbs[depth]
	pieces, end := how.pieces, max(r*how.end, twigEnd)
	type place struct{ x, y, angle, r float32 }
	places := make([]place, 0, pieces+1)
	nodes := make([]node, 0, pieces+1)
	kink := float32(g.d.bell() * 0.05)
	zig := g.d.between(0.04, 0.16)
	for i := 0; i <= pieces; i++ {
		t := float32(i) / float32(pieces)
		rr := mix(r, end, t)
		if depth == 0 && i == 0 {
			rr *= 1.35
		}
		// Its colour starts from its parent's, so that no joint shows.
		shade := mix(from, ease(0.0060, 0.0005, rr), ease(0, 0.3, t))
		nodes = append(nodes, node{x, y, rr, shade})
		places = append(places, place{x, y, angle, rr})
		s, c := sincos(angle)
		step := long / float32(pieces)
		x += float32(s * step)
		y -= float32(c * step)
		angle += float32(g.d.bell()*how.wander) + kink
		if depth >= 4 {
			angle += zig
			zig = -zig
		}
		// Limbs reach for the light; thin twigs hang a little; the sea wind
		// has leant all of it to the right.
		if depth < 4 {
			angle -= float32(angle * 0.075)
		} else {
			angle += float32(angle * 0.018)
		}
		angle += 0.008
	}
	rim := barkRim * mad(ease(0.02, 0.0015, r), -0.35, 1)
	g.w.roughStroke(nodes, bark, twig, rim, r > 0.0013)
	if depth >= 8 || r <= twigEnd*1.02 {
		return
	}
	// The limb ends in a fork, and gives off side limbs on the way.
	last := places[pieces]
	spread := g.d.between(0.35, 0.62)
	for i := range how.fork {
		at := last
		turn := float32(spread * (float32(float32(2*i)/float32(how.fork-1)) - 1))
		if depth == 0 {
			turn = float32(turn * 1.55)
			at = places[pieces-(i*7%3)]
		}
		turn += float32(g.d.bell() * 0.16)
		share := g.d.between(0.72, 0.95)
		g.limb(at.x, at.y, at.angle+turn, float32(long*g.d.between(0.66, 0.88)*how.shrink), max(float32(at.r*share), twigEnd), nodes[pieces].t, depth+1)
	}
	side := g.d.side(0.5)
	for i := range how.sides {
		t := mad((float32(i)+g.d.roll())/float32(how.sides), 0.72, 0.22)
		if depth == 0 {
			t = mad(t, 0.35, 0.60)
		}
		k := min(int(t*float32(pieces)), pieces-1)
		f := float32(t*float32(pieces)) - float32(k)
		a, b := places[k], places[k+1]
		turn := float32(side * g.d.between(0.55, 1.05))
		side *= -g.d.side(0.2)
		g.limb(mix(a.x, b.x, f), mix(a.y, b.y, f), a.angle+turn,
			float32(long*g.d.between(0.42, 0.72)*mad(t, -0.3, 1.1)), max(float32(mix(a.r, b.r, f)*g.d.between(0.34, 0.60)), twigEnd), nodes[k].t, depth+1)
	}
}
