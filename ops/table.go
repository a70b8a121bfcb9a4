package ops

// table is every operation in every version, sorted by name, then version. A
// version's line is never changed or taken out once the language version that
// speaks of it is frozen.
var table = []Operation{
	blendV1,
	borderV1,
	convertV1,
	CropV1,
	enlargeV1,
	MaskV1,
	mixV1,
	sharpenV1,
	SpotPixelsV1,
	SpotsV1,
	tintV1,
	toneV1,
	TurnV1,
	wrapV1,
}

// Table lists every operation in every version, sorted by name, then version.
func Table() []Operation { return append([]Operation(nil), table...) }

// Lookup finds an operation by name and version.
func Lookup(name string, version int) (Operation, bool) {
	for _, o := range table {
		if o.Name == name && o.Version == version {
			return o, true
		}
	}
	return Operation{}, false
}
