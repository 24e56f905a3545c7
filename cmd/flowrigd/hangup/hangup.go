// Package hangup catches SIGHUP for the verb run before anything else of the
// program begins: until a program has asked for that signal, it ends it.
//
//	start of the process → Signals → the daemon, which reloads when it is ready
//
// It imports nothing but the standard library's smallest parts, so that Go
// initialises it first: the other packages take milliseconds.
package hangup

import (
	"os"
	"os/signal"
)

// Signals holds one hangup until the daemon reads it.
var Signals = catch()

func catch() chan os.Signal {
	c := make(chan os.Signal, 1)
	if len(os.Args) > 1 && os.Args[1] == "run" { // another verb ends with its terminal
		signal.Notify(c, list...)
	}
	return c
}

// Listen asks for the signal where that has not been done yet, and gives the
// function that ends it.
func Listen() (stop func()) {
	signal.Notify(Signals, list...)
	return func() { signal.Stop(Signals) }
}
