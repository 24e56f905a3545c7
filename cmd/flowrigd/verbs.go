package main

import "github.com/spf13/cobra"

// verbs are all of them, in the order of the help.
func verbs() []*cobra.Command {
	return []*cobra.Command{
		demoVerb(), runVerb(), checkVerb(), portsVerb(), probeVerb(), simulateVerb(), exportVerb(), backupVerb(), replayVerb(), calcVerb(), tokenVerb(), versionVerb(),
	}
}
