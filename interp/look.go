package interp

import (
	"context"

	"platemark/interp/inspect"
	"platemark/interp/plan"
)

// Look looks over a node's picture for what the eye would miss.
func (s *Session) Look(ctx context.Context, p *plan.Print, node int) (*inspect.Report, error) {
	g, _, err := s.graph(ctx, p, node, nil)
	if err != nil {
		return nil, err
	}
	return inspect.Look(ctx, g, s.engineOptions("looking over "+p.Name))
}
