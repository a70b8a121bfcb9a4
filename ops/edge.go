package ops

import "fmt"

// edgeWidth is the width of a border or wrap. 20 in at 10000 ppi are 200000 px.
var edgeWidth = Param{Name: "width", Unit: "px", Min: "1", Max: "200000", Doc: "px on each side"}

// checkEdge refuses a picture that can't have an edge of width px.
func checkEdge(what string, p Pic, width int) error {
	if err := greyOrRGB(what, p); err != nil {
		return err
	}
	if p.W > maxSide-2*width || p.H > maxSide-2*width {
		return fmt.Errorf("%s: %d x %d px with %d px on each side is more than %d px", what, p.W, p.H, width, maxSide)
	}
	return nil
}
