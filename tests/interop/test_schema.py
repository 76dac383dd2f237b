#!/usr/bin/env python3
"""Hold the JSON Schemas against another people's validator, and the structural corpus against the schema.

    pip install 'jsonschema>=4.20'
    python3 tests/interop/test_schema.py [DOCUMENT.obvert.json ...]

Every schema in schema/ is valid by the meta-schema of JSON Schema 2020-12 and refers to nothing outside itself; every document of
tests/corpus/structure gets the verdict that the manifest says a plain validator gives, and so does every document named on the
command line, which has to be valid. Where a document is invalid, the validator's complaints stand at the places that the
manifest lists, so that two validators agree on where and not only on whether. The manifests of
the conformance suite are valid by their own schema. Exit status 0 if all agree, 1 if not. pytest can
run the file too.
"""

import json
import pathlib
import sys

from jsonschema import Draft202012Validator

ROOT = pathlib.Path(__file__).resolve().parents[2]
CORPUS = ROOT / "tests" / "corpus" / "structure"
# Kinds of problems that lie beyond what a JSON Schema can say.
BEYOND = {"duplicate-key", "duplicate-id"}


def read(path):
    return json.loads(pathlib.Path(path).read_bytes().decode("utf-8-sig"))


def validator():
    return Draft202012Validator(read(ROOT / "schema" / "document.schema.json"))


def pointer(path):
    return "".join("/" + str(token).replace("~", "~0").replace("/", "~1") for token in path)


def places(error):
    """Where a complaint stands, as the manifest has it: at the key for a key that does not belong."""
    path = list(error.absolute_path)
    if error.validator == "additionalProperties":
        known = error.schema["properties"]
        return {pointer(path + [key]) for key in error.instance if key not in known}
    if error.validator == "propertyNames":
        return {pointer(path + [error.instance])}
    if error.parent is None and error.validator == "pattern" and "propertyNames" in error.absolute_schema_path:
        return {pointer(path + [error.instance])}
    return {pointer(path)}


def references(node):
    if isinstance(node, dict):
        if isinstance(node.get("$ref"), str):
            yield node["$ref"]
        for value in node.values():
            yield from references(value)
    elif isinstance(node, list):
        for value in node:
            yield from references(value)


def schemas():
    """Complaints about the schemas themselves."""
    found = sorted((ROOT / "schema").glob("*.schema.json"))
    names = {path.name for path in found}
    for name in ("document.schema.json", "code-list.schema.json", "grade-scheme.schema.json", "profile.schema.json"):
        if name not in names:
            yield f"schema/{name} is missing"
    for path in found:
        schema = read(path)
        try:
            Draft202012Validator.check_schema(schema)
        except Exception as error:  # whatever the meta-schema has against it
            yield f"{path.name}: {error}"
        if not schema.get("$id", "").endswith("/" + path.name):
            yield f"{path.name}: its $id is {schema.get('$id')}"
        for key in ("$schema", "title", "description"):
            if not schema.get(key):
                yield f"{path.name}: no {key}"
        for reference in references(schema):
            name = reference.removeprefix("#/$defs/")
            if name == reference or name not in schema["$defs"]:
                yield f"{path.name}: {reference} leads nowhere"


def lists():
    """Complaints about the built-in lists, and about the profiles of the examples, by their own schemas."""
    built_in = (("obvert-terms.json", "code-list"), ("en-13508-2.json", "code-list"), ("obvert-grades.json", "grade-scheme"))
    files = [(ROOT / "schema" / name, schema) for name, schema in built_in]
    files += [(path, "profile") for path in sorted((ROOT / "examples" / "profiles").glob("*.profile.json"))]
    if len(files) < 6:
        yield "the profiles of the examples are missing"
    for path, schema in files:
        judge = Draft202012Validator(read(ROOT / "schema" / f"{schema}.schema.json"))
        for error in judge.iter_errors(read(path)):
            yield f"{path.name}: {pointer(error.absolute_path)}: {error.message}"
        broken = read(path)
        broken["titel"] = broken.pop("title")
        if judge.is_valid(broken):
            yield f"{path.name} with a misspelt key is taken by {schema}.schema.json"


def corpus():
    """Complaints about the corpus, and how many documents were judged."""
    judge = validator()
    judged = 0
    complaints = []
    for case in read(CORPUS / "manifest.json")["cases"]:
        if case["verdict"] == "not-json":
            continue
        judged += 1
        document = read(CORPUS / case["file"])
        errors = list(judge.iter_errors(document))
        verdict = "invalid" if errors else "valid"
        if verdict != case["schema"]:
            complaints.append(f"{case['file']}: {verdict}, expected {case['schema']}: {[e.message for e in errors[:3]]}")
            continue
        expected = {p["pointer"] for p in case.get("problems", []) if p["kind"] not in BEYOND}
        found = set().union(*(places(error) for error in errors))
        # A document of an unknown version has that one problem; a schema cannot say that.
        if expected == {"/obvert"} and "/obvert" in found:
            continue
        if expected != found:
            complaints.append(f"{case['file']}: complaints at {sorted(found)}, expected {sorted(expected)}")
    return complaints, judged


def manifests():
    """Complaints about the manifests of the conformance suite, the schemes and the profiles in it."""
    suite = CORPUS.parent
    schema = read(suite / "manifest.schema.json")
    Draft202012Validator.check_schema(schema)
    judge = Draft202012Validator(schema)
    profile = Draft202012Validator(read(ROOT / "schema" / "profile.schema.json"))
    scheme = Draft202012Validator(read(ROOT / "schema" / "grade-scheme.schema.json"))
    paths = sorted(suite.glob("*/manifest.json")) + sorted(suite.glob("rules/*.json"))
    if len(paths) < 20:
        yield "manifests of the suite are missing"
    for path in paths:
        manifest = read(path)
        for error in judge.iter_errors(manifest):
            yield f"{path.relative_to(suite)}: {pointer(error.absolute_path)}: {error.message[:200]}"
        for case in manifest["cases"]:
            own = case.get("settings", {}).get("profile") if manifest["part"] == "rules" else None
            for error in profile.iter_errors(own) if own else ():
                yield f"{case['id']}: {error.message[:200]}"
            for error in scheme.iter_errors(read(suite / case["scheme"])) if "scheme" in case else ():
                yield f"{case['id']}: {error.message[:200]}"


def test_manifests():
    assert list(manifests()) == []


def given(paths):
    judge = validator()
    for path in paths:
        for error in judge.iter_errors(read(path)):
            yield f"{path}: {pointer(error.absolute_path)}: {error.message}"


def test_schemas():
    assert list(schemas()) == []


def test_lists():
    assert list(lists()) == []


def test_corpus():
    complaints, judged = corpus()
    assert complaints == []
    assert judged > 150


def main():
    complaints = list(schemas()) + list(lists()) + list(manifests())
    wrong, judged = corpus()
    complaints += wrong
    if judged < 150:
        complaints.append(f"only {judged} documents in the corpus")
    demo = sorted((ROOT / "examples" / "data").glob("*.obvert.json"))
    paths = sys.argv[1:] + [str(path) for path in demo]
    complaints += list(given(paths))
    for complaint in complaints:
        print(complaint)
    print(f"{judged} documents of the corpus and {len(paths)} others judged, {len(complaints)} complaints")
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main())
