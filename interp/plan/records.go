package plan

import (
	"platemark/interp/audit"
	"platemark/ops/raster"
	"platemark/testdata/frozen"
)

// A Result is what one node came to.
type Result struct {
	Bands    []raster.Sum
	Sum      raster.Sum
	Measured string   // the argument that its step lacked in the plan, "" for none
	Report   []string // what was found in the samples of an input
}

// Records writes the records that the recipe and its inputs determine.
func Records(p *Print, version int, draft bool, source []byte, results []Result, size int64, file raster.Sum) *audit.Chain {
	c := &audit.Chain{}
	head := audit.LogRecord{Record: "log", Prev: c.Prev(), Format: audit.LogFormat, Language: version}
	if draft {
		head.Draft = frozen.Digest()
	}
	c.Add(head)
	RecordRecipes(c, p, source)
	for _, in := range p.Inputs {
		r := audit.InputRecord{Record: "input", Prev: c.Prev(), Role: string(in.Role), Path: in.Path, Size: in.Size, SHA256: in.Sum.String()}
		if in.Picture != nil {
			i := in.Picture.Info()
			r.Width, r.Height, r.Bits, r.Channels, r.Turned = i.W, i.H, i.Bits, i.Channels, i.Orientation
			if in.White {
				r.On = "white"
			}
			for k, n := range p.Nodes {
				if n.Input != nil && FileOf(n.Input) == FileOf(in) {
					r.Profile, r.Picture = ProfileName(n), results[k].Sum.String()
					break
				}
			}
		} else {
			r.Profile = in.Profile.Digest().String()
		}
		c.Add(r)
	}
	for _, k := range p.Steps() {
		n := p.Nodes[k]
		r := audit.StepRecord{Record: "step", Prev: c.Prev(), Line: n.Line, Recipe: n.Recipe, Operation: n.Op, Version: n.Ver, Args: argMap(n.Args),
			Inputs: []string{}, Width: n.Pic.W, Height: n.Pic.H, Channels: n.Pic.C, Profile: ProfileName(n), Picture: results[k].Sum.String()}
		if v := results[k].Measured; v != "" {
			r.Args[n.Operation().Measure.Param] = v
		}
		for _, i := range n.In {
			r.Inputs = append(r.Inputs, results[i].Sum.String())
		}
		for _, b := range results[k].Bands {
			r.Bands = append(r.Bands, b.String())
		}
		c.Add(r)
	}
	c.Add(audit.FileRecord{Record: "file", Prev: c.Prev(), Name: p.File.Path, Size: size, SHA256: file.String(), Picture: results[p.Out].Sum.String(),
		Encoder: encoderVersion, Args: argMap(p.File.Args()), Mark: p.Mark.String()})
	return c
}

// RecordRecipes writes the texts that a print is made by, source the first.
func RecordRecipes(c *audit.Chain, p *Print, source []byte) {
	for _, text := range append([][]byte{source}, p.Others...) {
		c.Add(audit.RecipeRecord{Record: "recipe", Prev: c.Prev(), Print: p.Name, SHA256: audit.SumOf(text), Text: string(text)})
	}
}

// ProfileName is a picture's profile digest, zeros for a mask.
func ProfileName(n Node) string { return ProfileSum(n).String() }

func ProfileSum(n Node) raster.Sum {
	if n.Pic.Profile == nil {
		return raster.Sum{}
	}
	return n.Pic.Profile.Digest()
}

func ResultOf(n Node, bands []raster.Sum) Result {
	return Result{Bands: bands, Sum: raster.PictureSum(n.Pic.W, n.Pic.H, n.Pic.C, ProfileSum(n), bands)}
}
