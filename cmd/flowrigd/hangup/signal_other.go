//go:build !unix

package hangup

import "os"

// list is empty where there is no such signal; a reload is a restart there.
// os.Interrupt must not be caught for it.
var list = []os.Signal{neverSent{}}

// neverSent keeps signal.Notify from catching everything, which an empty list
// would mean.
type neverSent struct{}

func (neverSent) String() string { return "none" }

// Signal marks it as one.
func (neverSent) Signal() {}
