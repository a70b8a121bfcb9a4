package tiff

import (
	"fmt"
	"slices"

	"platemark/ops/codec"
	"platemark/ops/codec/ifd"
)

// walk reads all directories: each one, then its SubIFDs, then the next. One
// that several lead to is read once; one that leads back to itself is an
// error. Damage behind the first full picture is a warning: the picture itself
// is still whole.
func walk(s *ifd.Reader, first uint64) (dirs []*ifd.Dir, warnings []string, err error) {
	open := map[uint64]bool{} // by offset: whether the way to the present one leads through it
	found := false
	var visit func(off uint64) error
	visit = func(off uint64) error {
		if through, seen := open[off]; through {
			return codec.Errorf("directory", codec.Damaged, "the directories lead in a circle: the one at byte %d leads back to itself", off)
		} else if seen {
			return nil
		}
		if len(open) == maxDirs {
			return codec.Errorf("directory", "save the picture alone in its own file", "the file has more than %d directories", maxDirs)
		}
		open[off] = true
		defer func() { open[off] = false }()
		d, err := s.Dir(off)
		if err == nil {
			err = once(d, off)
		}
		if err == nil {
			var subs []uint64
			if e, ok := d.Get(tagSubIFDs); ok {
				subs, err = s.Uints(e, maxDirs)
			}
			if d.Next != 0 {
				subs = append(subs, d.Next)
			}
			dirs = append(dirs, d)
			if kind, _ := kindOf(s, d); kind == kindFull {
				found = true
			}
			for _, next := range subs {
				if err := visit(next); err != nil {
					return err
				}
			}
		}
		if damage, plain := err.(*codec.Error); plain && found {
			warnings = append(warnings, "the file is damaged behind its first picture, which is whole: "+damage.Detail)
			return nil
		}
		return err
	}
	return dirs, warnings, visit(first)
}

// once refuses a directory in which a field stands twice.
func once(d *ifd.Dir, off uint64) error {
	for i, e := range d.Fields {
		if slices.ContainsFunc(d.Fields[:i], func(o ifd.Field) bool { return o.Tag == e.Tag }) {
			return codec.Errorf(e.Name, codec.Damaged, "%s stands twice in the directory at byte %d", e, off)
		}
	}
	return nil
}

// Kinds of directories.
const (
	kindFull = iota
	kindReduced
	kindMask
	kindNone // no picture at all
)

// kindOf says what a directory holds (NewSubfileType, or the older SubfileType
// where that is missing).
func kindOf(s *ifd.Reader, d *ifd.Dir) (int, error) {
	_, w := d.Get(tagImageWidth)
	_, h := d.Get(tagImageLength)
	if !w && !h {
		return kindNone, nil
	}
	v, err := s.One(d, tagNewSubfileType, 0)
	if err != nil {
		return kindNone, err
	}
	if _, ok := d.Get(tagNewSubfileType); !ok {
		old, err := s.One(d, tagSubfileType, 1)
		if err != nil {
			return kindNone, err
		}
		if old == 2 {
			v = 1
		}
	}
	switch {
	case v&4 != 0:
		return kindMask, nil
	case v&1 != 0:
		return kindReduced, nil
	}
	return kindFull, nil
}

// choose takes the first full-resolution picture and describes the others.
func choose(s *ifd.Reader, dirs []*ifd.Dir) (chosen *ifd.Dir, others []string, err error) {
	for _, d := range dirs {
		kind, err := kindOf(s, d)
		if err != nil && chosen == nil {
			return nil, nil, err
		}
		if err != nil || kind == kindNone {
			continue
		}
		if kind == kindFull && chosen == nil {
			chosen = d
			continue
		}
		w, werr := s.One(d, tagImageWidth, 0)
		h, herr := s.One(d, tagImageLength, 0)
		size := fmt.Sprintf("%d x %d", w, h)
		if werr != nil || herr != nil {
			size = "of unknown size"
		}
		name := [...]string{kindFull: "another picture", kindReduced: "a reduced copy", kindMask: "a mask"}[kind]
		others = append(others, name+", "+size)
	}
	if chosen == nil {
		if len(others) > 0 {
			return nil, nil, codec.Errorf("NewSubfileType", "save the full picture as TIFF again", "the file holds no full-resolution picture, only %s", others[0])
		}
		return nil, nil, codec.Errorf("ImageWidth", codec.Damaged, "the file holds no picture")
	}
	return chosen, others, nil
}
