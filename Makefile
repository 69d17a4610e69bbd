# `make run` shows the demo, `make test` runs every check. Both need nothing but Python 3.11 or later.

PYTHON ?= python3
ADDRESS ?= 127.0.0.1:8000
VENV := .venv
INSTALLED := $(VENV)/requirements.txt
MANAGE := $(VENV)/bin/python manage.py

export PIP_DISABLE_PIP_VERSION_CHECK := 1
export PIP_ROOT_USER_ACTION := ignore

.PHONY: run test pictures
.DEFAULT_GOAL := run

run: $(INSTALLED)
	$(MANAGE) make_fonts
	$(MANAGE) migrate --verbosity 0
	$(MANAGE) demo --no-serve
	@echo
	@echo "Open http://$(ADDRESS)/ and sign in with one of the names above. Ctrl-C stops."
	@echo
	$(MANAGE) runserver $(ADDRESS)

test: $(INSTALLED)
	@PATH="$(CURDIR)/$(VENV)/bin:$$PATH" .ci/checks

pictures: $(INSTALLED)
	@PATH="$(CURDIR)/$(VENV)/bin:$$PATH" DJANGO_SETTINGS_MODULE=clinic.settings python -m tests.browser.take_pictures

# The copy remembers what is installed; it is written last, so a broken installation is tried again.
$(INSTALLED): requirements.txt
	test -x $(VENV)/bin/python || $(PYTHON) -m venv $(VENV)
	$(VENV)/bin/python -m pip install --quiet --requirement requirements.txt
	cp requirements.txt $@
