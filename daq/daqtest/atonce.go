package daqtest

import "flag"

// AtOnce lets n tests of a package run at a time unless -parallel says otherwise:
// where they wait for processes far more than they work, the number of processors
// is too few. TestMain calls it.
func AtOnce(n string) {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "test.parallel" })
	if given {
		return
	}
	if err := flag.Set("test.parallel", n); err != nil {
		panic(err)
	}
}
