# Tests. Every tests/unit/test_<name>.c exports `Suite *suite_<name>(void)` and is found by its name.
suite_names := $(patsubst tests/unit/test_%.c,%,$(filter tests/unit/test_%.c,$(unit_sources)))

# Written anew only when a suite has come or gone.
$(build)/gen/suites.def: FORCE
	@mkdir -p $(@D)
	@for s in $(suite_names); do echo "SUITE($$s)"; done > $@.new
	@if cmp -s $@.new $@; then rm $@.new; else mv $@.new $@; fi
FORCE:

$(call o,tests/unit/main.c): $(build)/gen/suites.def

# What a job is asked is watched (tests/support/asking.h).
watched := job_step job_cancelled job_phase
$(out)/unit: $(call o,$(unit_sources) $(support_sources) $(tui_parts)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) $(watched:%=-Wl,--wrap=%) -o $@ $^ $(call pkg,--libs,$(test_packages)) $(PROGRAM_LIBS) $(LIBS)

# One suite or several: make unit SUITES="cut fill" (threads sleep between loops, as in the program).
# Several run side by side (tests/unit/beside.h): FETTLE_RUNNERS=1 has them one after the other.
.PHONY: unit
unit: $(out)/unit $(if $(tui_sources),$(out)/fettle)
	OMP_WAIT_POLICY=passive FETTLE_PROGRAM=$(abspath $(out)/fettle) $(if $(FETTLE_LONG),FETTLE_LONG=$(FETTLE_LONG)) $(out)/unit $(SUITES)

# Every allocation fails once, in all there is in the tables: make torture [TRIALS="op read"]
wrapped := malloc calloc realloc aligned_alloc free strdup strndup asprintf vasprintf open_memstream mmap mremap munmap
$(out)/torture: $(call o,$(torture_sources) $(support_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) $(wrapped:%=-Wl,--wrap=%) -o $@ $^ $(call pkg,--libs,$(test_packages)) $(LIBS)
.PHONY: torture
torture: $(out)/torture
	OMP_WAIT_POLICY=passive $(out)/torture $(TRIALS)

# The benchmark's inner commands: build/bench TASK INPUT... [OUT] prints one line "@@{json}".
$(out)/bench: $(call o,$(bench_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -o $@ $^ $(LIBS)

# The quick tests: all of it on a machine that has nothing. Ends with the runner's own last line.
quietly := @$(MAKE) --no-print-directory
.PHONY: check
check:
	$(quietly) deps-test
	$(quietly) -s -j2 all $(out)/torture $(out)/unit $(out)/bench
	$(quietly) -s torture
	$(quietly) -s unit

# The long ones: every test again under the address and undefined-behaviour sanitizers, the other
# compiler with warnings as errors, each header on its own, the fuzzers for a while. FETTLE_LONG: tests
# that sweep over many cases take more of them; the suites without such have run under the sanitizers.
# Each part tells how long it took, also where it fails; in the last, whose last line is the runner's
# own, each suite does.
long_suites = $(patsubst tests/unit/test_%.c,%,$(shell grep -l 'getenv("FETTLE_LONG")' tests/unit/test_*.c))
part = @begin=$$(date +%s); $(2); ended=$$?; \
  echo "check-long: $(1): $$(($$(date +%s) - begin)) s$$(test $$ended = 0 || echo ", failed")"; exit $$ended
again := $(MAKE) --no-print-directory -s
.PHONY: check-long
check-long:
	$(quietly) deps-test
	$(call part,building,$(again) -j2 all $(out)/torture $(out)/unit)
	$(call part,every allocation fails once,FETTLE_LONG=yes $(again) torture)
	$(call part,the other compiler,$(again) -j2 CC=clang build=$(build)/clang CFLAGS=-Werror all)
	$(call part,fuzzing,$(again) -j2 config=fuzz fuzz FUZZ_SECONDS=$(FUZZ_SECONDS))
	$(call part,building with sanitizers,$(again) -j2 config=sanitize all $(build)/sanitize/unit)
	$(call part,all tests under sanitizers,$(again) config=sanitize unit)
	$(quietly) -s unit FETTLE_LONG=yes SUITES="$(long_suites)"

# The shapes of characters, from a font of the public domain; needs libfreetype-dev and xfonts-base.
glyph_font := /usr/share/fonts/X11/misc/10x20.pcf.gz
define glyph_head
 * Font: Misc Fixed Medium, 10 x 20 pixels (-Misc-Fixed-Medium-R-Normal--20-200-75-75-C-100-ISO10646-1).
 * Licence: public domain (the font says: "Public domain font.  Share and enjoy.").
 * From the Debian package xfonts-base 1:1.0.5+nmu1 (part font-misc-misc), 10x20.pcf.gz.
endef
export glyph_head
.PHONY: glyphs
glyphs:
	@mkdir -p $(out)
	$(CC) $(common) $(call pkg,--cflags --libs,freetype2) -o $(out)/make-glyphs tests/tools/glyphs.c $(call pkg,--libs,freetype2)
	$(out)/make-glyphs $(glyph_font) "$$glyph_head" > $(out)/glyphs.c
	mv $(out)/glyphs.c mesh/raster/glyphs.c

# Speed and memory beside the libraries: PEERS is the folder of their harness. It is copied, since it
# grows; what it needs it installs itself.
PEERS ?= ../shared/peers
RUNS ?= 3
.PHONY: bench
bench: $(out)/bench
	@test -d $(build)/peers || test ! -d "$(PEERS)" || { cp -r "$(PEERS)" $(build)/peers && chmod -R u+w $(build)/peers && \
	  cd $(build)/peers && echo "fettle: installing the libraries to compare with" && ./install.sh >install.log 2>&1 && \
	  $(MAKE) -s -k >make.log 2>&1; /usr/bin/python3 make_data.py >data.log 2>&1; }
	@if [ -d $(build)/peers ]; then /usr/bin/python3 tests/bench/compare.py $(out)/bench $(build)/peers $(RUNS) $(TASKS); \
	  else echo "no peers in $(PEERS); build/bench TASK FILE times one operation on its own:"; $(out)/bench || true; fi

# The README's tables, from the program's own.
.PHONY: readme
readme: $(out)/fettle
	tests/tools/readme.sh $(abspath $(out)/fettle) README.md

# Fuzzing: make config=fuzz fuzz FUZZ_SECONDS=600 runs every tests/fuzz/fuzz_<name>.c that long, from
# the seeds in tests/data/seeds and what earlier runs found; what breaks is left in build/fuzz/found.
FUZZ_SECONDS ?= 60
fuzz_names := $(patsubst tests/fuzz/fuzz_%.c,%,$(wildcard tests/fuzz/fuzz_*.c))

$(out)/fuzz_%: $(obj)/tests/fuzz/fuzz_%.o $(call o,$(support_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -fsanitize=fuzzer -o $@ $^ $(call pkg,--libs,$(test_packages)) $(LIBS)
-include $(wildcard $(obj)/tests/fuzz/*.d)

.PHONY: fuzz
ifeq ($(config),fuzz)
fuzz: $(addprefix $(out)/fuzz_,$(fuzz_names))
	@mkdir -p $(out)/found
	@for name in $(fuzz_names); do mkdir -p $(out)/corpus/$$name; \
	  seeds=tests/data/seeds; test $$name = format || seeds=; \
	  dictionary=tests/fuzz/$$name.dict; test -e $$dictionary && dictionary=-dict=$$dictionary || dictionary=; \
	  nice -n 15 $(out)/fuzz_$$name -max_total_time=$(FUZZ_SECONDS) -timeout=20 -rss_limit_mb=1024 -max_len=4096 \
	    -print_final_stats=1 -artifact_prefix=$(out)/found/$$name- $$dictionary $(out)/corpus/$$name $$seeds || exit 1; done
else
fuzz:
	$(MAKE) config=fuzz fuzz
endif
