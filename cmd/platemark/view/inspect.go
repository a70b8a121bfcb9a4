package view

import (
	"fmt"
	"html/template"
	"io"
	"time"

	"platemark/interp/retouch"
)

var inspectPage = pageOf("inspect.html")

// InspectPage is what the page of a look shows.
type InspectPage struct {
	Name   string // of the recipe or picture
	Print  string // "" for the master
	SeenOn string
	Open   int // how many finds are seen
	View   *retouch.View
	More   []string // of finds that were left out
	Words  []string // of the picture as a whole
	Made   time.Time
}

// NewInspectPage is the page of a look at what is so named, with its pictures.
func NewInspectPage(name string, l *retouch.Look, v *retouch.View) InspectPage {
	return InspectPage{Name: name, Print: l.Print, SeenOn: l.SeenOn(), Open: len(l.Visible()), View: v, More: l.MoreWords(), Words: l.Words(), Made: time.Now()}
}

// inspectSheet is what the template reads.
type inspectSheet struct {
	Style template.CSS
	InspectPage
	Whole  template.URL
	Ticks  []int // of the rulers, %
	Wide   template.CSS
	Places []inspectPlace
}

type inspectPlace struct {
	retouch.Place
	A, B       template.URL
	At         template.CSS // in its picture
	Mark       template.CSS // in the whole
	Prev, Next int          // numbers, 0 for none
}

// WriteInspect writes the page of a look.
func WriteInspect(w io.Writer, p InspectPage) error {
	s := &inspectSheet{Style: style(), InspectPage: p}
	for t := 0; t <= 100; t += 10 {
		s.Ticks = append(s.Ticks, t)
	}
	m := p.View.Whole
	// As wide as the window, and no higher than it is.
	s.Wide = template.CSS(fmt.Sprintf("min(100%%, max(300px, calc((100vh - 200px) * %.4f)))", float64(m.W)/float64(m.H)))
	var err error
	if s.Whole, err = picture(*m); err != nil {
		return err
	}
	for i, f := range p.View.Places {
		q := inspectPlace{Place: f, At: template.CSS(fmt.Sprintf("--x: %.4f; --y: %.4f", f.Across, f.Down)),
			Mark: template.CSS(fmt.Sprintf("left: %.2f%%; top: %.2f%%", 100*f.Find.At.X/float64(m.FullW), 100*f.Find.At.Y/float64(m.FullH)))}
		if i > 0 {
			q.Prev = p.View.Places[i-1].Number
		}
		if i+1 < len(p.View.Places) {
			q.Next = p.View.Places[i+1].Number
		}
		if q.A, err = picture(*f.Before); err != nil {
			return err
		}
		if f.After != nil {
			if q.B, err = picture(*f.After); err != nil {
				return err
			}
		}
		s.Places = append(s.Places, q)
	}
	return inspectPage().Execute(w, s)
}
