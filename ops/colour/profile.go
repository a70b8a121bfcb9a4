// Package colour reads ICC profiles, holds the built-in spaces and converts
// between them.
package colour

// Profile is a picture's encoding.
type Profile struct{}
