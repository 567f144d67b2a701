# make demo: set up, build, run the main job on the passage that ships inside the program.
# make test: set up, build, pass every test.
# Neither needs anything but Go, gcc and, for live sound, apt.

GO ?= go
export CGO_ENABLED := 1

# .ci/setup installs what is missing where it can and writes the build tags that are left to bin/tags.
TAGS = $$(cat bin/tags)

.PHONY: build demo test race bench fuzz setup clean

setup:
	@GO="$(GO)" bash .ci/setup

build: setup
	$(GO) build -tags "$(TAGS)" -o bin/plumbline ./cmd/plumbline

demo: build
	./bin/plumbline demo --dir plumbline-demo

test: build
	@bad=$$(gofmt -l .); [ -z "$$bad" ] || { echo "gofmt would change: $$bad"; exit 1; }
	$(GO) vet -tags "$(TAGS)" ./...
	$(GO) vet -tags nosound ./...
	$(GO) test -tags "$(TAGS)" -shuffle=on ./...
	$(GO) test -tags nosound ./synth/speaker ./cmd/plumbline

race: build
	$(GO) test -tags "$(TAGS)" -race -shuffle=on ./...

bench: build
	$(GO) test -tags "$(TAGS)" -run '^$$' -bench . -benchmem ./...

# Every fuzz target for FUZZTIME each.
FUZZTIME ?= 30s
fuzz: build
	@set -e; for pkg in $$($(GO) list -tags "$(TAGS)" ./...); do \
	  for f in $$($(GO) test -tags "$(TAGS)" -list '^Fuzz' $$pkg | grep '^Fuzz' || true); do \
	    echo "$$pkg $$f"; $(GO) test -tags "$(TAGS)" -run '^$$' -fuzz "^$$f\$$" -fuzztime $(FUZZTIME) -fuzzminimizetime 20x $$pkg; \
	  done; done

clean:
	rm -rf bin plumbline-demo
