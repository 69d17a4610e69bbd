"""Values from outside the program beside ours: published tables, worked examples, reference libraries.

One module a family maps the calls that the entries of fixtures/reference/FAMILY.json name to our functions. The tests
and the page "How these numbers were checked" read the same entries through `checks`.
"""
