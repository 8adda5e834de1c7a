# Tests. Every tests/unit/test_<name>.c exports `Suite *suite_<name>(void)` and is found by its name.
suite_names := $(patsubst tests/unit/test_%.c,%,$(filter tests/unit/test_%.c,$(unit_sources)))

$(build)/gen/suites.def: $(unit_sources)
	@mkdir -p $(@D)
	@for s in $(suite_names); do echo "SUITE($$s)"; done > $@

$(call o,tests/unit/main.c): $(build)/gen/suites.def

$(out)/unit: $(call o,$(unit_sources) $(support_sources) $(tui_parts)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -o $@ $^ $(call pkg,--libs,$(test_packages)) $(PROGRAM_LIBS) $(LIBS)

# One suite or several: make unit SUITES="cut fill"
.PHONY: unit
unit: $(out)/unit $(if $(tui_sources),$(out)/fettle)
	FETTLE_PROGRAM=$(abspath $(out)/fettle) $(out)/unit $(SUITES)

# The benchmark's inner commands: build/bench TASK INPUT... [OUT] prints one line "@@{json}".
$(out)/bench: $(call o,$(bench_sources)) $(out)/libmesh.a
	$(CC) $(CFLAGS_all) -o $@ $^ $(LIBS)

.PHONY: check
check:
	$(MAKE) deps-test
	$(MAKE) all
	$(MAKE) unit
