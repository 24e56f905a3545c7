//go:build !unix

package web

import "os"

// keepOwner has nothing to do: a file here has the rights of its directory.
func keepOwner(*os.File, string) error { return nil }

// Exposed knows nothing here, where a file has the rights of its directory.
func Exposed(string) string { return "" }
