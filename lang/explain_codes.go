package lang

// PlannerCodes are the codes of what needs the pictures. Their messages are
// made by the planner; here they stand so that the reference and explain know
// them. Where a code comes in more than one severity the gravest is given.
var PlannerCodes = []Code{
	{"PM500", Error, "an operation refuses its arguments or pictures", "change the line as the message says"},
	{"PM501", Error, "a physical unit where there is no print yet", "write the measure in % of the frame, or in px"},
	{"PM502", Error, "the picture saved hasn't the size of the print", "add `enlarge`, or `take` the enlarged picture"},
	{"PM503", Error, "the picture's shape isn't the print's", "crop it, or use `size within`"},
	{"PM504", Warning, "the master has fewer pixels an inch than the eye resolves", "print it smaller, or crop less"},
	{"PM505", Error, "a crop outside the picture", "write the corners in order and inside the picture"},
	{"PM506", Error, "a spot outside the frame, or two that overlap", "check the position"},
	{"PM507", Error, "a print that its format can't hold", "save another format, or make the print smaller"},
	{"PM508", Error, "a print file that must not be written", "choose another name, or --force or --out"},
	{"PM509", Error, "a painted mask that doesn't fit the master", "save it as grey, from the uncropped master"},
	{"PM510", Error, "a file that can't be used", "check its path and its kind"},
	{"PM511", Error, "a file isn't the one that was pinned", "put the old file back, or pin it again"},
	{"PM513", Error, "it isn't clear what the master's colours mean", "write its space, or remove `space`"},
	{"PM514", Error, "a profile that doesn't fit", "save the master again with a profile that fits"},
	{"PM515", Error, "a step that has no meaning in the colours of a printer", "move the conversion behind it, as the last step before border, wrap and save"},
	{"PM516", Error, "a lab doesn't take this print", "change the print as the message says"},
	{"PM531", Error, "a profile that isn't this paper's", "name the profile that the paper's maker or the lab gives"},
	{"PM532", Warning, "a step through a mask that covers nothing, or everything", "look at the mask with plan --picture"},
	{"PM533", Note, "a spot where nothing stands out from the noise", "check the spot's place, or take it out"},
}
