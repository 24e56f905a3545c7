package web

import (
	"strings"
	"testing"
)

// TestRecordingSaysWhenItIsFull: 18 GB left at 45 MB a day are 400 days; while nothing
// is known the answer says so.
func TestRecordingSaysWhenItIsFull(t *testing.T) {
	status, _, text := testBed(t, nil).ask("GET", "/api/recording", "", "")
	got := decode[recordingReply](t, text)
	if status != 200 || got.Used != 2e9 || *got.MaxSize != 20e9 || *got.DiskFree != 60e9 || *got.PerDay != 45e6 || *got.FullIn != 400*86400 ||
		got.Sentence != "The recording takes 2 GB of 20 GB: at 45 MB a day it is full in 400 days." {
		t.Errorf("%d %s", status, text)
	}
	b := testBed(t, func(o *Options) { o.History = fakeHistory{errFake} })
	if status, _, text := b.ask("GET", "/api/recording", "", ""); status != 503 {
		t.Errorf("%d %s", status, text)
	}
	if list := RecordRoom(fakeHistory{}.Occupancy()); len(list) != 4 {
		t.Errorf("%d metrics, want size, limit, growth and full", len(list))
	}
	if list := RecordRoom(fakeHistory{errFake}.Occupancy()); list != nil {
		t.Errorf("metrics of what is not known: %v", list)
	}
}

// The page says it too, where it speaks of the recording.
func TestThePageSaysWhenTheRecordingIsFull(t *testing.T) {
	const line = `<p class="soft" data-part="room">The recording takes 2 GB of 20 GB: at 45 MB a day it is full in 400 days.</p>`
	if _, _, page := testBed(t, nil).ask("GET", "/", "", ""); !strings.Contains(page, line) {
		t.Errorf("the page does not say %s", line)
	}
	b := testBed(t, func(o *Options) { o.History = fakeHistory{errFake} })
	if _, _, page := b.ask("GET", "/", "", ""); strings.Contains(page, "The recording takes") {
		t.Error("the page says what is not known")
	}
}
