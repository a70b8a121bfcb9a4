package interp

// Codes of the planner's diagnostics; stable for good. The texts stand in
// lang/SPEC.md beside the checker's.
const (
	codeStep      = "PM500"
	codeUnit      = "PM501"
	codeSize      = "PM502"
	codeShape     = "PM503"
	codeEffective = "PM504"
	codeCrop      = "PM505"
	codeSpot      = "PM506"
	codeSave      = "PM507"
	codeOutput    = "PM508"
	codeMaskFile  = "PM509"
	codeInput     = "PM510"
	codeChanged   = "PM511"
	codeUntagged  = "PM513"
	codeProfile   = "PM514"
	codePaper     = "PM515"
	codeLab       = "PM516"

	codePaperProfile = "PM531"
	codeMaskCovers   = "PM532"
	codeSpotIdle     = "PM533"
)
