"""What rules and grades share of a document: its code list, grade scheme and rows by id."""

from functools import cached_property

import doubt
from code_lists import LISTS, coded
from figures import factor
from grading import SCHEMES
from references import references
from runs import Run


class Survey:
    """A document, with references resolved: a duplicate id is known but leads to no row."""

    def __init__(self, document, limits=None):
        self.document = document
        self.limits = limits or {}
        self.metre = factor(document["units"]["length"], "m")
        self.millimetre = factor(document["units"]["section"], "mm")
        coding = document["coding"]
        self.list = LISTS.get((coding["list"], coding["version"]))
        self.codes = {code["code"]: code for code in self.list["codes"]} if self.list else {}
        self.scheme = self._scheme()
        # Computed grades, and rows as another code list has them.
        self.grades, self.coded, self.kept = {}, {}, []
        self.shifts = {}
        self.places = {}
        for table in ("parties", "equipment", "structures", "pipes", "media", "runs"):
            found = self.places[table] = {}
            for place, row in enumerate(document.get(table, ())):
                found.setdefault(row["id"], []).append(place)
        self.runs = [Run(self, place, row) for place, row in enumerate(document.get("runs", ()))]

    def _scheme(self):
        """The grade scheme, if it is available and the list or its links can be graded by it."""
        grading = self.document.get("grading", {})
        scheme = SCHEMES.get((grading.get("scheme"), grading.get("version")))
        if scheme is None or self.list is None:
            return None
        wanted, version = scheme["code_list"]["list"], scheme["code_list"]["version"]
        linked = (
            link["list"] == wanted and link.get("fit", "exact") == "exact"
            for code in self.list["codes"]
            for link in code.get("same_as", ())
        )
        other = LISTS.get((wanted, version), {})
        back = (
            link["list"] == self.list["id"] and link.get("fit", "exact") == "exact"
            for code in other.get("codes", ())
            for link in code.get("same_as", ())
        )
        own = (wanted, version) == (self.list["id"], self.list["version"])
        return scheme if own or any(linked) or any(back) else None

    def table(self, name):
        """The places and rows of a table."""
        return enumerate(self.document.get(name, ()))

    def rows(self):
        """Every row of every run, with its index."""
        for run in self.runs:
            for index, row in enumerate(run.rows):
                yield run, index, row

    @cached_property
    def coded_rows(self):
        """Every row whose code is in the code list: (run, index, row, code, pointer)."""
        return [
            (run, index, row, self.codes[row["code"]], run.path("observations", index))
            for run, index, row in self.rows()
            if row["code"] in self.codes
        ]

    @cached_property
    def references(self):
        return list(references(self))

    def graded_as(self, row):
        """The code of a row in the scheme's list, or None."""
        found = coded(self, row, self.scheme["code_list"]) if self.scheme else None
        return found and found.code

    @cached_property
    def lengths_doubtful(self):
        return doubt.lengths(self)

    @cached_property
    def sizes_doubtful(self):
        return doubt.sizes(self)

    def size_doubtful(self, place):
        wrong, places, _ = self.sizes_doubtful
        return wrong or place in places

    def limit(self, rule, name, default):
        return self.limits.get(f"{rule}.{name}", default)

    def known(self, table, key):
        return key in self.places[table]

    def place(self, table, key):
        places = self.places[table].get(key, ())
        return places[0] if len(places) == 1 else None

    def row(self, table, key):
        place = self.place(table, key)
        return None if place is None else self.document[table][place]

    def role(self, row):
        return self.codes.get(row["code"], {}).get("role")

    def means(self, row, *terms):
        """Whether a code, or an own term that it is linked to, begins with one of these."""
        code = self.codes.get(row["code"])
        if code is None:
            return False
        links = code.get("same_as", ())
        linked = [link["code"] for link in links if link["list"] == "obvert-terms"]
        return any(name.startswith(terms) for name in [code["code"], *linked])

    def other_pieces(self, row):
        """Whether a row records that the pieces of the pipe are not all of one length."""
        changes = ("material-change", "size-change", "shape-change")
        return self.role(row) in changes or self.means(row, "change.unit-length", "repair.replaced")

    def has_role(self, *roles):
        return any(code.get("role") in roles for code in self.codes.values())

    def never_stretch(self, row):
        return self.codes.get(row["code"], {}).get("continuous") == "never"

    def no_clock(self, row):
        return self.codes.get(row["code"], {}).get("clock", {}).get("use") == "none"
