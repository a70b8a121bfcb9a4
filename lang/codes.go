package lang

// Code is one line of the table of messages. A code keeps its meaning for
// good; a code that is no longer given is never used for something else.
type Code struct {
	Code     string
	Severity Severity
	Cause    string // what is wrong, as the reference states it
	Mend     string // how to put it right
}

// Codes is the table of every message of this package, in order. The first
// digit says what it is about: 1 characters, numbers and layout, 2 words and
// parameters, 3 units and values, 4 names, 6 files, 7 order and place, 9 words
// that this engine doesn't build yet; 5 is left to what needs the pictures. From x51 on come notes and warnings alone.
var Codes = []Code{
	{"PM101", Error, "the file isn't UTF-8 text but UTF-16 or UTF-32", "save it as UTF-8 in the editor's “save as” dialogue"},
	{"PM102", Error, "a byte isn't UTF-8", "save the file as UTF-8 and type the character again"},
	{"PM103", Error, "an invisible character", "delete it, or type a plain space"},
	{"PM104", Error, "a character that looks like another one", "type the plain character of the keyboard"},
	{"PM105", Error, "a character that has no meaning here", "take it out"},
	{"PM106", Error, "a control character", "delete it; lines end with a line feed, or with carriage return and line feed"},
	{"PM107", Error, "the file is larger than any recipe", "give the recipe, not the picture"},
	{"PM108", Error, "more than any recipe holds: lines, words, characters on a line, or lines of all prints together", "take out what isn't a recipe's, or cut it into several recipes"},
	{"PM110", Error, "digits are missing before or behind the point", "write 0.5 and 5"},
	{"PM111", Error, "a comma in a number", "write a point: 0.5"},
	{"PM112", Error, "grouped digits", "write the digits without a break: 1000"},
	{"PM113", Error, "hexadecimal, exponent or fraction", "write a plain decimal number"},
	{"PM114", Error, "not a number, or infinity", "write a plain decimal number"},
	{"PM115", Error, "a number with more than 18 digits on one side of the point", "round it"},
	{"PM116", Error, "the x of a size doesn't stand between spaces", "write 60 x 40 in"},
	{"PM117", Error, "a unit stands more than one space behind its number", "let it touch the number, or stand one space behind"},
	{"PM118", Error, "an unknown unit", "use a unit of the language"},
	{"PM119", Error, "a shape isn't written as one word", "write 3:2, without spaces"},
	{"PM120", Error, "a string isn't closed on its line", "close it with a double quote"},
	{"PM121", Error, "an unknown escape in a string", `only \" and \\ exist`},
	{"PM122", Error, "single quotes", "use double quotes"},
	{"PM130", Error, "a bracket isn't closed, or closes nothing", "write points as (22%, 11%)"},
	{"PM131", Error, "nothing follows a comma", "take the comma out, or go on with the list"},
	{"PM132", Error, "text behind {", "start a new line after {"},
	{"PM133", Error, "} doesn't stand alone", "put } on a line of its own"},
	{"PM134", Error, "} closes nothing", "take it out"},
	{"PM135", Error, "a block isn't closed", "write } on a line of its own behind its last line"},
	{"PM136", Error, "braces on a statement that opens no block", "write its parameters on its line, without braces"},
	{"PM137", Error, "{ is missing at the end of the line that opens a block", "end that line with {"},

	{"PM201", Error, "an unknown word begins the line", "begin the line with one of these words"},
	{"PM202", Error, "a statement stands in a block where it has no meaning", "move it to a block where it may stand"},
	{"PM203", Error, "an unknown parameter", "use a parameter of the statement, as shown"},
	{"PM204", Error, "a parameter stands out of order", "write the parameters in the order shown"},
	{"PM205", Error, "a parameter is given twice", "keep one of the two"},
	{"PM206", Error, "a parameter or a value is missing", "add it, as shown"},
	{"PM207", Error, "a value of another kind is expected here", "write it as shown"},
	{"PM208", Error, "something is left over at the line's end", "take it out"},
	{"PM209", Error, "a word that isn't one of the choices", "use one of these"},
	{"PM210", Error, "a parameter that belongs to another statement or form", "take it out, or use that form"},
	{"PM211", Error, "a line doesn't begin with a word", "begin with the statement's word"},

	{"PM301", Error, "a number has no unit", "add one of the units that the parameter takes"},
	{"PM302", Error, "a unit that the parameter doesn't take", "use one of its units"},
	{"PM303", Error, "a value out of range", "keep to the range"},
	{"PM304", Error, "a fraction where a whole number is due", "write a whole number"},
	{"PM305", Error, "a physical unit in a mask", "write % of the frame, or its px"},
	{"PM306", Error, "a unit on a count", "write the bare number"},
	{"PM307", Error, "a shape, a crop or a spot that covers nothing", "give it an extent"},
	{"PM308", Error, "an empty text", "write the text, or take the line out"},
	{"PM309", Warning, "a value that is meant for another scale, it seems", "write it on this scale, as shown"},

	{"PM401", Error, "no mask has this name", "name the mask as it is defined"},
	{"PM402", Error, "no steps block has this name", "name the block as it is defined"},
	{"PM403", Error, "no picture has this name here", "name it with `as` in a line before"},
	{"PM404", Error, "a word of the language used as a name", "choose another name"},
	{"PM405", Error, "a name in the wrong form", "use a to z, digits and hyphens, a letter first"},
	{"PM406", Error, "a name given twice", "give each thing a name of its own"},
	{"PM407", Error, "a named picture that nothing uses", "use it with blend or take, or take `as` out"},
	{"PM408", Error, "masks that refer to each other in a circle", "take one of the references out"},
	{"PM409", Error, "a name of another kind of thing", "use a name of the right kind"},
	{"PM410", Error, "no paper has this name", "name the paper as it is defined"},
	{"PM411", Error, "no lab has this name", "name the lab as it is defined"},
	{"PM412", Error, "no print has this name", "name the print as it is defined"},
	{"PM451", Note, "a mask that nothing uses", "use it, or take it out"},
	{"PM452", Note, "a steps block that nothing follows", "follow it, or take it out"},
	{"PM453", Note, "a paper that nothing uses", "print on it, or take it out"},
	{"PM454", Note, "a lab that nothing uses", "print for it, or take it out"},
	{"PM455", Warning, "a tone for a paper that acts in no print", "print on that paper, or name another one"},
	{"PM456", Note, "a picture made elsewhere that nothing uses", "use it with take or blend, or take it out"},

	{"PM601", Error, "a path that isn't relative, or not with forward slashes", "write it relative to the recipe, with /"},
	{"PM602", Error, "the file's ending doesn't match its format", "change the ending or the format"},
	{"PM603", Error, "a print file would take the place of a file that the recipe reads", "choose another name"},
	{"PM604", Error, "two print files whose names are one on some systems", "choose names that differ in letters"},
	{"PM605", Error, "a digest that isn't 64 hexadecimal digits", "run platemark pin again"},
	{"PM606", Error, "a file pinned twice", "keep one of the two"},
	{"PM608", Error, "a file name that Windows can't hold", "rename the file"},
	{"PM609", Error, "a file name that is too long", "choose a shorter name"},
	{"PM651", Warning, "a special space in a file name", "rename the file, with plain spaces"},
	{"PM652", Note, "a pinned file that nothing uses", "run platemark pin again"},

	{"PM701", Error, "the first statement isn't `recipe`", "begin with recipe 1 draft"},
	{"PM702", Error, "a version of the language that this engine doesn't know", "write recipe 1 draft"},
	{"PM703", Error, "a piece that isn't frozen yet in a recipe without `draft`", "write recipe 1 draft"},
	{"PM704", Error, "no print", "add a print block"},
	{"PM705", Error, "no master", "add a master line"},
	{"PM706", Error, "a statement that may stand once stands twice", "keep one of the two"},
	{"PM707", Error, "a statement stands out of order", "keep to the order of the block"},
	{"PM708", Error, "a print lacks a statement that it needs", "add it"},
	{"PM709", Error, "a statement stands behind save", "move it before save"},
	{"PM710", Error, "turn or mirror stands behind another step", "move it to the head of prepare"},
	{"PM711", Error, "follow in a steps block", "write the lines out; steps blocks don't nest"},
	{"PM712", Error, "a followed block holds a step that can't stand here", "move the step, or follow the block elsewhere"},
	{"PM713", Error, "a step without effect", "use its result, or take it out"},
	{"PM714", Error, "a picture enlarged twice", "enlarge once on each way from size to save"},
	{"PM715", Error, "two pictures of different size or space blended", "blend pictures that went the same way"},
	{"PM716", Error, "spots of one run that overlap", "move one, or put another step between them"},
	{"PM717", Error, "a mask without a shape", "draw at least one shape"},
	{"PM718", Error, "a mask's first line works on nothing", "add a shape before it"},
	{"PM719", Error, "a paper without a profile", "add a profile line"},
	{"PM720", Error, "a tone block that changes nothing", "write at least one parameter"},
	{"PM721", Error, "a curve that doesn't rise from point to point", "write its points from dark to light, each higher or level"},
	{"PM722", Error, "shares of a mix that don't sum to 100 %", "change one of them"},
	{"PM723", Error, "a sheet with nothing on it", "write what lies on it"},
	{"PM724", Error, "a strip whose steps don't lead from its first value to its last", "change one of the three"},
}

var codeIndex = func() map[string]int {
	m := make(map[string]int, len(Codes))
	for i, c := range Codes {
		m[c.Code] = i
	}
	return m
}()

// severityOf returns the severity of a code in the table.
func severityOf(code string) Severity {
	if i, ok := codeIndex[code]; ok {
		return Codes[i].Severity
	}
	return Error
}

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
	{"PM534", Error, "a picture made elsewhere that doesn't fit where it is used", "use it where a picture has its size"},
	{"PM535", Note, "a picture made elsewhere in other colours", "none is needed"},
	{"PM536", Error, "a sheet that can't be laid out as it is written", "change the sheet as the message says"},
}
