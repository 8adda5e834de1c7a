# fettle: one Makefile for the library, the program, its tests and its demo.
#
#   make            build/fettle and build/libmesh.a      make demo      the whole job on made-up scans
#   make check      all quick tests (installs what lacks)  make check-long   the long ones
#   make bench      speed and memory, medians              make fuzz      libFuzzer on readers and operations
#   make install    PREFIX=/usr/local DESTDIR=             make deps      what building needs
#
# config=release (default), debug, sanitize, fuzz; each builds into its own folder.
# All sources are found by name: a new file needs no line here.

config ?= release
CC ?= cc
PREFIX ?= /usr/local
DESTDIR ?=

build := build
out := $(if $(filter release,$(config)),$(build),$(build)/$(config))
obj := $(out)/obj

warnings := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wvla -Wstrict-prototypes -Wmissing-prototypes
# -ffp-contract=off: the exact predicates and "same bytes on every machine" forbid fused products.
# -fno-tree-slp-vectorize: gcc 12 then drops the rounding of (double)(float)x (tests/unit/test_rounding.c).
common := -std=c17 -D_GNU_SOURCE -fopenmp -ffp-contract=off -fno-math-errno -fno-tree-slp-vectorize -pthread $(warnings) -I. -Imesh -I$(build)/gen
flags_release := -O2 -g -DNDEBUG
flags_debug := -O0 -g3
flags_sanitize := -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=undefined
flags_fuzz := -O1 -g -fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=undefined -Wno-pass-failed
ifeq ($(config),fuzz)
CC := clang
endif

packages := libarchive libpng jansson
program_packages := ncursesw
test_packages := check vterm
pkg = $(shell pkg-config $(1) $(2) 2>/dev/null)

CFLAGS_all := $(common) $(flags_$(config)) $(call pkg,--cflags,$(packages)) $(CFLAGS)
LIBS := $(call pkg,--libs,$(packages)) -lhpdf -lm
PROGRAM_LIBS := $(call pkg,--libs,$(program_packages))

mesh_sources := $(wildcard mesh/*/*.c)
tui_sources := $(wildcard tui/*.c tui/*/*.c)
unit_sources := $(wildcard tests/unit/*.c)
support_sources := $(wildcard tests/support/*.c)
torture_sources := $(wildcard tests/torture/*.c)
bench_sources := $(wildcard tests/bench/*.c)
example_sources := $(wildcard examples/*.c)
o = $(patsubst %.c,$(obj)/%.o,$(1))

tui_parts := $(filter-out tui/main.c,$(tui_sources))

.PHONY: all
all: $(out)/libmesh.a $(if $(tui_sources),$(out)/fettle)

include $(wildcard tests/build.mk)

$(out)/libmesh.a: $(call o,$(mesh_sources))
	@rm -f $@
	$(AR) rcs $@ $^

$(out)/fettle: $(call o,$(tui_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -o $@ $^ $(PROGRAM_LIBS) $(LIBS)

$(obj)/%.o: %.c | tools
	@mkdir -p $(@D)
	$(CC) $(CFLAGS_all) $(if $(filter tests/%,$<),$(call pkg,--cflags,$(test_packages))) -MMD -MP -c -o $@ $<

-include $(patsubst %.o,%.d,$(call o,$(mesh_sources) $(tui_sources) $(unit_sources) $(support_sources) $(torture_sources) $(bench_sources) $(example_sources)))

# --- what must be installed: found missing, it is installed, saying so ---------------------------
build_debian := gcc make pkg-config libncurses-dev libcglm-dev libarchive-dev libpng-dev libjansson-dev libhpdf-dev
test_debian := check libvterm-dev clang libclang-rt-14-dev libomp-dev assimp-testmodels libcgal-demo poppler-utils librsvg2-bin
missing = $(shell for p in $(1); do dpkg-query -W -f '$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || echo $$p; done)
sudo := $(shell [ "$$(id -u)" = 0 ] || echo sudo)
define install_missing
	@lack="$(strip $(call missing,$(1)))"; if [ -n "$$lack" ]; then \
	  echo "fettle: installing what is missing: $$lack"; \
	  $(sudo) apt-get update -qq && $(sudo) env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $$lack; fi
endef

.PHONY: deps deps-test tools
deps:
	$(call install_missing,$(build_debian))
deps-test: deps
	$(call install_missing,$(test_debian))
tools:

# --- installing: the manual page and the completion come out of the program's own tables ----------
man_dir := $(DESTDIR)$(PREFIX)/share/man/man1
completion_dir := $(DESTDIR)$(PREFIX)/share/bash-completion/completions

.PHONY: install uninstall
install: all
	$(out)/fettle help --man > $(out)/fettle.1
	$(out)/fettle help --completion > $(out)/fettle.bash
	install -d $(DESTDIR)$(PREFIX)/bin $(man_dir) $(completion_dir)
	install -m 755 $(out)/fettle $(DESTDIR)$(PREFIX)/bin/fettle
	install -m 644 $(out)/fettle.1 $(man_dir)/fettle.1
	install -m 644 $(out)/fettle.bash $(completion_dir)/fettle
uninstall:
	rm -f $(DESTDIR)$(PREFIX)/bin/fettle $(man_dir)/fettle.1 $(completion_dir)/fettle

.PHONY: clean
clean:
	rm -rf $(build)

# --- the demo: the whole job on made-up scans -------------------------------------------------------
$(out)/make_scan: $(call o,$(example_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -o $@ $^ $(LIBS)

# Four raw scans of the demo's object, its true surface and the poses that are true: examples/raw_scans.h
raw_scans := $(foreach i,1 2 3 4,$(out)/demo/raw-$(i).ply)
$(raw_scans) &: $(out)/make_scan
	@mkdir -p $(out)/demo
	$(out)/make_scan raw $(out)/demo

.PHONY: demo
demo:
	@$(MAKE) --no-print-directory deps
	@$(MAKE) --no-print-directory -s -j2 all $(out)/make_scan
	@examples/demo.sh $(abspath $(out)/fettle) $(abspath $(out)/make_scan) $(abspath $(out)/demo)
