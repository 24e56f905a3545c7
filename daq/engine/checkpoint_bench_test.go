package engine

import (
	"testing"
	"time"
)

// BenchmarkCheckpoint is what a checkpoint costs the engine's step, after 20 minutes.
func BenchmarkCheckpoint(b *testing.B) {
	bench := newBench(&testing.T{})
	bench.run(20*time.Minute, 2, 42, 255)
	d := NewDigest()
	size := 0
	b.ReportAllocs()
	for b.Loop() {
		data, err := bench.e.Checkpoint(d)
		if err != nil {
			b.Fatal(err)
		}
		size = len(data)
	}
	b.ReportMetric(float64(size), "bytes")
}
