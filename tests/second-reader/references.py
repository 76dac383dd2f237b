"""Every reference of a document."""


def references(survey):
    """(table, id, pointer) of every reference, in the order of tables that the document has."""
    document = survey.document
    single = [
        ("parties", "/assignment/owner", document.get("assignment", {}).get("owner")),
        ("parties", "/review/by", document.get("review", {}).get("by")),
    ]

    for place, row in survey.table("parties"):
        single.append(("parties", f"/parties/{place}/member_of", row.get("member_of")))
    for place, row in survey.table("pipes"):
        for key in ("upstream", "downstream"):
            single.append(("structures", f"/pipes/{place}/{key}", row.get(key)))
        single.append(("pipes", f"/pipes/{place}/joins/pipe", row.get("joins", {}).get("pipe")))
    for name in ("media", "locates"):
        for place, row in survey.table(name):
            single.append(("runs", f"/{name}/{place}/run", row.get("run")))
    for place, row in survey.table("ratings"):
        single.append(("pipes", f"/ratings/{place}/pipe", row["pipe"]))
        for item, key in enumerate(row.get("runs", ())):
            single.append(("runs", f"/ratings/{place}/runs/{item}", key))
    for run in survey.runs:
        row = run.row
        single.append(("pipes", run.path("pipe"), row["pipe"]))
        for key in ("from", "to"):
            single.append(("structures", run.path(key), row.get(key)))
        single.append(("parties", run.path("operator"), row.get("operator")))
        for item, key in enumerate(row.get("equipment", ())):
            single.append(("equipment", run.path("equipment", item), key))
        single.append(("pipes", run.path("launched", "pipe"), row.get("launched", {}).get("pipe")))
        single.append(("runs", run.path("reverse_of"), row.get("reverse_of")))
        for index, item in enumerate(run.rows):
            single.append(("pipes", run.path("observations", index, "joins"), item.get("joins")))
            for number, media in enumerate(item.get("media", ())):
                path = run.path("observations", index, "media", number, "id")
                single.append(("media", path, media["id"]))
    return [item for item in single if item[2] is not None]


def names_missing_run(survey):
    return any(
        table == "runs" and not survey.known("runs", key) for table, _, key in survey.references
    )
