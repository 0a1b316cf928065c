# One command each, from a bare Debian with make: the first run also sets up QGIS and .venv (.ci/setup.sh).
.POSIX:
.PHONY: demo test test-long bench bench-archive lint zip clean

IN_ENVIRONMENT = sh .ci/setup.sh
SHIPPED = __init__.py metadata.txt LICENSE README.md CHANGELOG.md requirements.txt plugin processing_algs sample_project docs

# the sample farm, checked: archive, project, report and pictures in demo_output/
demo:
	$(IN_ENVIRONMENT) .venv/bin/python sample_project/run_demo.py

# all tests, those in the real desktop included; a part of them: make test ARGS="tests/core -k trace"
# two at a time: measured a third faster on two cores; one at a time: make test ARGS="-n 0"
test:
	WITH_POSTGIS=1 $(IN_ENVIRONMENT) .venv/bin/python .ci/run_tests.py -n 2 $(ARGS)

# the tests that do a smaller number of things in `make test`, with all of it (half an hour); results in .test-long.txt
test-long:
	rm -f .test-long.txt
	FALLKEEPER_TEST_LONG=1 $(IN_ENVIRONMENT) .venv/bin/python .ci/run_tests.py -m long $(ARGS)

# speed and memory on whole counties beside other tools, to tests/bench/RESULTS.md; one size: make bench LINES=1000000
bench:
	$(IN_ENVIRONMENT) .venv/bin/python tests/bench/run_bench.py $(LINES)

# what people do with a large archive, to tests/bench/ARCHIVE.md
bench-archive:
	$(IN_ENVIRONMENT) .venv/bin/python tests/bench/archive/run_archive.py $(LINES)

lint:
	$(IN_ENVIRONMENT) .venv/bin/python -m ruff check .
	$(IN_ENVIRONMENT) .venv/bin/python -m bandit -q -r -c pyproject.toml .

# what users install: dist/fallkeeper.zip with the one folder fallkeeper/, from what is committed
zip:
	mkdir -p dist
	git archive --format=zip --prefix=fallkeeper/ -o dist/fallkeeper.zip HEAD -- $(SHIPPED)

clean:
	rm -rf .venv .bench demo_output dist .pytest_cache .ruff_cache .hypothesis .qgis-settings .test-results.xml .test-long.txt
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
