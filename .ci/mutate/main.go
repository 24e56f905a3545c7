// Command mutate asks the tests whether they would notice: it makes a seeded
// sample of small changes to the code, one at a time, runs the tests against
// each, and lists the changes that nobody noticed.
//
//	files → places that can be changed → a seeded sample → go test with the change laid over the file → survivors
//
// The tree itself is never touched: the changed file is laid over the original
// by the go command (go help build, -overlay), in the tests' own builds of the
// program as well. It proves nothing about changes that it does not make, and a
// survivor may be equivalent: the same program by other words.
//
//	go run ./.ci/mutate -n 100 -seed 1 calc/pipe daq/alarm daq/engine/permit.go
//	go run ./.ci/mutate -n 20 -tests ./cmd/flowrigd cmd/flowrigd/reload.go
package main

import (
	"flag"
	"fmt"
	"go/build"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

func main() {
	n := flag.Int("n", 20, "how many changes to try")
	seed := flag.Uint64("seed", 1, "of the sample")
	tests := flag.String("tests", "", "further packages whose tests are run where the file's own notice nothing, separated by blanks")
	only := flag.String("run", "", "the tests to run in those further packages, as of go test")
	limit := flag.Duration("timeout", 5*time.Minute, "of one run of tests; a change that hangs them counts as noticed")
	list := flag.Bool("list", false, "print the sample and run nothing")
	flag.Parse()
	if flag.NArg() == 0 {
		fmt.Fprintln(os.Stderr, "mutate: no file or folder named; see go run ./.ci/mutate -h")
		os.Exit(2)
	}
	all, err := changes(flag.Args())
	if err != nil {
		fmt.Fprintln(os.Stderr, "mutate:", err)
		os.Exit(1)
	}
	r := rand.New(rand.NewPCG(*seed, 0))
	r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	if *list {
		for _, c := range all[:min(*n, len(all))] {
			fmt.Println(c)
		}
		return
	}
	os.Exit(try(all, *n, judge{further: strings.Fields(*tests), only: *only, limit: *limit}))
}

// try tests n changes that compile and reports the survivors.
func try(all []change, n int, j judge) int {
	noticed, survivors, unborn := 0, []change{}, 0
	for _, c := range all {
		if noticed+len(survivors) == n {
			break
		}
		began := time.Now()
		verdict, err := j.verdict(c)
		if err != nil {
			fmt.Fprintln(os.Stderr, "mutate:", err)
			return 1
		}
		switch verdict {
		case unbuildable:
			unborn++
			continue
		case unnoticed:
			survivors = append(survivors, c)
		default:
			noticed++
		}
		fmt.Printf("%-9s %5.1f s  %s\n", verdict, time.Since(began).Seconds(), c)
	}
	fmt.Printf("\n%d changes tried, %d noticed, %d not; %d more do not compile\n", noticed+len(survivors), noticed, len(survivors), unborn)
	for _, c := range survivors {
		fmt.Println("survivor ", c)
	}
	if len(survivors) > 0 {
		return 3
	}
	return 0
}

// changes are all that can be made to the files and folders named, in a fixed
// order.
func changes(names []string) ([]change, error) {
	var all []change
	for _, name := range names {
		files := []string{name}
		if info, err := os.Stat(name); err != nil {
			return nil, err
		} else if info.IsDir() {
			if files, err = filepath.Glob(filepath.Join(name, "*.go")); err != nil {
				return nil, err
			}
		}
		slices.Sort(files)
		for _, file := range files {
			here, err := build.Default.MatchFile(filepath.Dir(file), filepath.Base(file))
			if err != nil {
				return nil, err
			}
			if !here || strings.HasSuffix(file, "_test.go") {
				continue // another machine's, which no test here builds
			}
			of, err := changesOf(file)
			if err != nil {
				return nil, err
			}
			all = append(all, of...)
		}
	}
	return all, nil
}
