package plan

// Codes of the planner's diagnostics; stable for good. The texts stand in
// lang/SPEC.md beside the checker's.
const (
	CodeStep      = "PM500"
	CodeUnit      = "PM501"
	CodeSize      = "PM502"
	CodeShape     = "PM503"
	CodeEffective = "PM504"
	CodeCrop      = "PM505"
	CodeSpot      = "PM506"
	CodeSave      = "PM507"
	CodeOutput    = "PM508"
	CodeMaskFile  = "PM509"
	CodeInput     = "PM510"
	CodeChanged   = "PM511"
	CodeUntagged  = "PM513"
	CodeProfile   = "PM514"
	CodePaper     = "PM515"
	CodeLab       = "PM516"

	CodePaperProfile = "PM531"
	CodeMaskCovers   = "PM532"
	CodeSpotIdle     = "PM533"
	CodePicture      = "PM534"
	CodePictureSpace = "PM535"
	CodeSheet        = "PM536"
)
