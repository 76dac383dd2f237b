"""Rules that look at single fields of the document and of its runs, of several families."""

from catalogue import rule


@rule("warning")
def runs_missing(survey):
    if not survey.runs:
        yield "", {"pipes": len(survey.document.get("pipes", ()))}


@rule("warning")
def run_undated(survey):
    for run in survey.runs:
        if "started" not in run.row:
            yield run.path(), {}


@rule("warning")
def review_incomplete(survey):
    review = survey.document.get("review")
    if review and review["status"] != "draft" and not ("by" in review and "at" in review):
        yield "/review", {"status": review["status"]}


@rule("note")
def review_draft(survey):
    if survey.document.get("review", {}).get("status") == "draft":
        yield "/review/status", {}


@rule("error")
def revises_itself(survey):
    if survey.document.get("revises", {}).get("id") == survey.document["id"]:
        yield "/revises/id", {}
