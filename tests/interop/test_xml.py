#!/usr/bin/env python3
"""Hold the XML form and its XML Schema against other people's validators.

    apt-get install libxml2-utils            # xmllint; and libxerces-c-samples for DOMCount (Xerces-C), when wanted
    pip install xmlschema==4.3.2             # when wanted
    OBVERT=target/debug/obvert python3 tests/interop/test_xml.py [DOCUMENT.obvert.json ...]

OBVERT names the built command; without it, cargo builds and runs the example crates/convert/examples/xml.rs, which takes the
same arguments (`convert IN -o OUT`). Exit status 0 if all agree, 1 if not. pytest can run the file too. FUZZ=n sets
how many damaged documents are tried (1,000 by default).

What is held: xmllint (libxml2), and Xerces-C and the Python package xmlschema where they are installed, take the XML of every given
document against schema/obvert.xsd; so does xmllint after indenting it, and the document comes back unchanged. They refuse every document
of a list of mutated ones, and so does our reader. Where our reader is stricter than a schema can be, xmllint must take the document, so that
the list of differences stays true. Last, documents damaged at random: what our reader takes, xmllint takes, and what our
reader refuses, xmllint refuses, but for those differences.
"""

import os
import pathlib
import random
import shlex
import shutil
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parents[2]
XSD = ROOT / "schema" / "obvert.xsd"
NS = "https://obvert.example/ns/0.2"
SAMPLE = """<?xml version="1.0" encoding="UTF-8"?>
<survey xmlns="https://obvert.example/ns/0.2">
  <obvert>0.2</obvert>
  <id>d</id>
  <issued>2026-05-06T16:20:00-05:00</issued>
  <units><length>ft</length><section>in</section></units>
  <crs>EPSG:6594</crs>
  <vertical>NAVD 88</vertical>
  <coding><list>l</list><version>1</version></coding>
  <extensions><extension name="org.example.x">{"a":[1,null]}</extension></extensions>
  <structures>
    <structure><id>a</id><kind>manhole</kind><position>10 20.5</position></structure>
    <structure><id>b</id><kind>outfall</kind></structure>
  </structures>
  <pipes>
    <pipe><id>p</id><upstream>a</upstream><downstream>b</downstream><length>212.4</length><laid>1968</laid></pipe>
  </pipes>
  <media>
    <media><id>m</id><file>m.jpg</file><kind>photo</kind><type>image/jpeg</type></media>
  </media>
  <runs>
    <run><id>r</id><pipe>p</pipe><direction>downstream</direction><equipment><item>e</item></equipment><observations>
      <observation><id>1</id><at>0</at><code>x</code><joint>true</joint><media><media_ref><id>m</id></media_ref></media></observation>
      <observation><id>2</id><at>12.4</at><code>y</code><remark>seen</remark></observation>
    </observations></run>
  </runs>
</survey>
"""
# What is replaced, once, and with what: refused by every judge.
REFUSED = [
    ("<id>d</id>", ""),
    ("<id>d</id>", "<id>d</id><id>d</id>"),
    ("<id>d</id>", "<id></id>"),
    ("<id>d</id>", "<id> \n </id>"),
    ("<id>d</id>", "<idd>d</idd>"),
    ("<id>d</id>", "<id xmlns=''>d</id>"),
    ("<id>d</id>", "<id><b>d</b></id>"),
    ("<id>d</id>", "<id encoding='base64'>d</id>"),
    ("<id>d</id>", "<id lang='en'>d</id>"),
    ("<id>d</id>", "<id xml:space='preserve'>d</id>"),
    ("<id>d</id>", "<id>&nbsp;</id>"),
    ("<id>d</id>", "<id>&#1;</id>"),
    ("<id>d</id>", "<id>d]]></id>"),
    ("<id>d</id>", "<id>d & e</id>"),
    ("<id>d</id>", "<id>d</ID>"),
    ("<id>d</id>", "<id encoding='json'encoding='json'>\"d\"</id>"),
    ("<id>d</id>", "<o:id>d</o:id>"),
    ("<id>d</id>\n", "<id>d</id> words\n"),
    ("<obvert>0.2", "<obvert>0.3"),
    ("<obvert>0.2</obvert>\n  <id>d</id>", "<id>d</id><obvert>0.2</obvert>"),
    ("<list>l</list><version>1</version>", "<version>1</version><list>l</list>"),
    ("<length>ft", "<length>feet"),
    ("<section>in</section>", ""),
    ("16:20:00-05:00", "16:20:00"),
    ("2026-05-06T", "2026-13-06T"),
    ("EPSG:6594", "6594"),
    ("image/jpeg", "jpeg"),
    ("10 20.5", "10"),
    ("10 20.5", "10 20 30"),
    ("10 20.5", "10,20.5"),
    ("212.4", "212,4"),
    ("212.4", "212.4 ft"),
    ("212.4", "NaN"),
    ("212.4", "INF"),
    ("212.4", "+212.4"),
    ("212.4", ".4"),
    ("212.4", "0212.4"),
    ("212.4", "9007199254740993"),
    ("212.4", ""),
    ("1968", "1968.0"),
    ("1968", "10000"),
    ("1968", "-1"),
    ("<joint>true", "<joint>1"),
    ("<joint>true", "<joint>yes"),
    ("<kind>outfall", "<kind>Outfall"),
    ("<kind>outfall</kind>", "<kind>outfall</kind><depth>1</depth><invert>0</invert>"),
    ("<structure><id>b", "<structure><id>a"),
    ("<observation><id>2", "<observation><id>1"),
    ("<structure><id>b", "<structure id='b'><id>b"),
    ("<item>e</item>", "<equipment>e</equipment>"),
    ("<item>e</item>", "e"),
    ("<media_ref>", "<media_ref><offset>1</offset>"),
    ("name=\"org.example.x\"", "name=\"example\""),
    (" name=\"org.example.x\"", ""),
    ("{\"a\":[1,null]}", ""),
    ("<extension name=\"org.example.x\">{\"a\":[1,null]}</extension>", ""),
    ("ns/0.2", "ns/0.3"),
    (" xmlns=\"https://obvert.example/ns/0.2\"", ""),
    ("<survey ", "<survey version='0.1' "),
    ("</survey>\n", ""),
    ("</survey>\n", "</survey>x"),
    ("</survey>\n", "</survey><survey/>"),
]
# Taken by every judge: other spellings.
TAKEN = [
    ("<id>d</id>", "<id>\n    d\n  </id>"),
    ("<id>d</id>", "<id><![CDATA[d]]></id>"),
    ("<id>d</id>", "<id>&#100;</id>"),
    ("<id>d</id>", "<id encoding='json'>\"\\u0000\"</id>"),
    ("<id>d</id>", "<!-- <id> --><id>d<!-- x --></id >"),
    ("212.4", " 2.124e2\n"),
    ("10 20.5", "\n10\t20.5 "),
    ("<kind>outfall", "<kind> outfall"),
    ("<joint>true", "<joint> true "),
    ("</media>\n  <runs>", "</media><locates/>\n  <runs>"),
    ("encoding=\"UTF-8\"", "encoding='utf-8' standalone='yes'"),
    ("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n", ""),
]
# Refused by our reader, for what it says, and beyond what a schema can say.
STRICTER = [
    ("<survey ", "<!DOCTYPE survey [<!ENTITY a 'b'>]><survey ", "document type declaration"),
    ("<survey ", "<?xml-stylesheet href='a.css'?><survey ", "processing instruction"),
    ("<remark>", "<remark encoding='json'>", "JSON string"),
    ("<remark>seen", "<remark encoding='json'>\"\"", "empty text"),
    ("{\"a\":[1,null]}", "{\"a\":1,\"a\":2}", "duplicate key"),
    ("{\"a\":[1,null]}", "words", "is not JSON"),
    ("</extensions>", "<extension name=\"org.example.x\">1</extension></extensions>", "is duplicated"),
    ("<observation><id>2", "<observation><id encoding='json'>\"1\"", "is a duplicate"),
    ("<structure><id>b", "<structure><id> a ", "is a duplicate"),
    ("UTF-8", "ISO-8859-1", "UTF-8"),
    ("<id>d</id>", "<id xmlns:i='http://www.w3.org/2001/XMLSchema-instance' i:type='text'>d</id>", "unknown attribute"),
]
# What our reader says in the cases above: a damaged document may fall under it as well.
SAYS = [says for _, _, says in STRICTER] + ["XML version", "the encoding"]


def obvert():
    """The command line that `convert IN -o OUT` is appended to."""
    if "OBVERT" in os.environ:
        return shlex.split(os.environ["OBVERT"])
    subprocess.run(["cargo", "build", "-q", "-p", "obvert-convert", "--no-default-features", "--features", "xml", "--example", "xml"], cwd=ROOT, check=True)
    target = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
    return [str(target / "debug" / "examples" / "xml")]


def changed(what, by):
    assert SAMPLE.count(what) >= 1, f"the sample has no {what!r}"
    return SAMPLE.replace(what, by, 1)


class Judges:
    """Every validator at hand; each tells for a list of files which it takes."""

    def __init__(self):
        assert shutil.which("xmllint"), "xmllint is missing: apt-get install libxml2-utils"
        self.all = {"xmllint": self.xmllint}
        try:
            import xmlschema

            self.schema = xmlschema.XMLSchema10(str(XSD))
            self.all[f"xmlschema {xmlschema.__version__}"] = self.python
        except ImportError:
            pass
        if shutil.which("DOMCount"):
            self.all["Xerces-C"] = self.xerces

    def xmllint(self, files):
        taken = []
        for at in range(0, len(files), 200):
            command = ["xmllint", "--noout", "--nonet", "--schema", str(XSD), *map(str, files[at : at + 200])]
            says = subprocess.run(command, capture_output=True, text=True, errors="replace").stderr.splitlines()
            says = set(says)
            taken += [f"{file} validates" in says for file in files[at : at + 200]]
        return taken

    def python(self, files):
        def valid(file):
            try:
                return self.schema.is_valid(str(file))
            except Exception:  # not well-formed: whatever the parser raises
                return False

        return [valid(file) for file in files]

    def xerces(self, files):
        """Xerces-C takes the schema from the document; a copy names it."""
        taken = []
        with tempfile.TemporaryDirectory() as folder:
            shutil.copy(XSD, f"{folder}/obvert.xsd")
            for number, file in enumerate(files):
                text = pathlib.Path(file).read_text(encoding="utf-8", errors="surrogateescape")
                located = f"survey xmlns:located='http://www.w3.org/2001/XMLSchema-instance' located:schemaLocation='{NS} obvert.xsd'"
                at = text.find("<survey")
                copy = pathlib.Path(folder) / f"{number}.xml"
                copy.write_text(text[: at + 1] + located + text[at + 7 :], encoding="utf-8", errors="surrogateescape")
                command = ["DOMCount", "-v=always", "-n", "-s", "-f", str(copy)]
                run = subprocess.run(command, capture_output=True, text=True, errors="replace")
                taken.append("Error at" not in run.stdout + run.stderr and " ms (" in run.stdout)
        return taken


def ours(command, file):
    """What our reader says of an XML file; None when it takes it."""
    out = pathlib.Path(file).with_suffix(".out.obvert.json")
    run = subprocess.run([*command, "convert", str(file), "-o", str(out)], capture_output=True, text=True)
    assert run.returncode in (0, 2), f"{file}: exit status {run.returncode}: {run.stderr}"
    return None if run.returncode == 0 else run.stderr


def write(folder, name, text):
    path = pathlib.Path(folder) / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return path


def documents(arguments):
    return [pathlib.Path(path) for path in arguments] or sorted(ROOT.glob("examples/data/*.obvert.json")) + sorted(ROOT.glob("tests/corpus/*.obvert.json"))


def check_documents(command, judges, paths):
    """Every document's XML is valid, indented too, and comes back byte for byte."""
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        files = []
        for number, path in enumerate(paths):
            file, indented, back = (pathlib.Path(folder) / f"{number}{end}" for end in (".xml", "i.xml", ".obvert.json"))
            subprocess.run([*command, "convert", str(path), "-o", str(file)], check=True)
            indented.write_bytes(subprocess.run(["xmllint", "--format", str(file)], check=True, capture_output=True).stdout)
            first = pathlib.Path(folder) / f"{number}.first.obvert.json"
            subprocess.run([*command, "convert", str(path), "-o", str(first)], check=True)
            for source, target in ((file, back), (indented, back.with_suffix(".indented.json"))):
                subprocess.run([*command, "convert", str(source), "-o", str(target)], check=True)
                if target.read_bytes() != first.read_bytes():
                    wrong.append(f"{path}: comes back changed from {source.name}")
            files += [file, indented]
        for name, judge in judges.all.items():
            taken = judge(files)
            wrong += [f"{name} refuses {file.name} of {paths[at // 2]}" for at, (file, ok) in enumerate(zip(files, taken)) if not ok]
            print(f"{name}: takes {sum(taken)} of {len(files)} ({len(paths)} documents, as written and indented)")
    return wrong


def check_mutations(command, judges):
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        sample = write(folder, "sample.xml", SAMPLE)
        wrong += [f"our reader refuses the sample: {ours(command, sample)}"] if ours(command, sample) else []
        for label, cases, expected in (("mutated", REFUSED, False), ("other spellings", [("<id>d", "<id>d"), *TAKEN], True)):
            files = [write(folder, f"{expected}{number}.xml", changed(*case)) for number, case in enumerate(cases)]
            verdicts = {name: judge(files) for name, judge in judges.all.items()}
            verdicts["our reader"] = [ours(command, file) is None for file in files]
            for name, taken in verdicts.items():
                wrong += [f"{name} {'takes' if ok else 'refuses'} {case}" for case, ok in zip(cases, taken) if ok != expected]
                right = sum(ok == expected for ok in taken)
                print(f"{name}: {'takes' if expected else 'refuses'} {right} of {len(cases)} {label}")
        files = [write(folder, f"stricter{number}.xml", changed(*case[:2])) for number, case in enumerate(STRICTER)]
        for case, file, ok in zip(STRICTER, files, judges.xmllint(files)):
            says = ours(command, file)
            if not ok:
                wrong.append(f"xmllint refuses {case}: not a difference after all")
            if says is None or case[2] not in says:
                wrong.append(f"our reader should refuse {case}; it says {says}")
        print(f"our reader: stricter than the schema in {len(STRICTER)} cases, as listed")
    return wrong


def damaged(dice, text):
    """A document with one to three small injuries, some of which do not hurt."""
    pieces = ["", "", "<", ">", "&", "\"", "'", "/", "=", " ", "]]>", "<a>", "</a>", "<id>", "</id>", "<!--", "-->", "--", "<![CDATA[", "&#0;",
              "&#13;", "&lt;", "&x;", "<?a?>", "xmlns=\"\"", " encoding=\"json\"", "\t", "\r", "\n", "-", "0", "1e5", "\u00e9", "\ufffe", "\x01", "true", ":",
              " ", "\n", "<!-- x -->", "&#9;", "a", "1", "<item/>", "<item>1</item>", "<clock/>", "<grades><structural>3</structural></grades>", "\ufeff"]
    for _ in range(dice.choice([1, 1, 1, 1, 2, 3])):
        at = dice.randrange(len(text))
        if dice.random() < 0.3:  # two stretches change places, or one is repeated
            lines = text.split("\n")
            one, other = dice.randrange(len(lines)), dice.randrange(len(lines))
            lines[one], lines[other] = lines[other], lines[one] if dice.random() < 0.5 else lines[other]
            text = "\n".join(lines) or "<"
        else:
            text = text[:at] + dice.choice(pieces) + text[at + dice.choice([0, 0, 1, 1, 2, 5]) :]
    return text


def check_damaged(command, judges, count):
    """Our reader and xmllint come to the same verdict on damaged documents."""
    dice = random.Random(20260506)
    wrong, both, neither, stricter = [], 0, 0, 0
    with tempfile.TemporaryDirectory() as folder:
        files = [write(folder, f"{number}.xml", damaged(dice, SAMPLE)) for number in range(count)]
        for file, taken in zip(files, judges.xmllint(files)):
            says = ours(command, file)
            if taken and says is None:
                both += 1
            elif not taken and says is not None:
                neither += 1
            elif taken and any(known in says for known in SAYS):
                stricter += 1
            else:
                lint = subprocess.run(["xmllint", "--noout", "--schema", str(XSD), str(file)], capture_output=True, text=True).stderr
                wrong.append(f"xmllint {'takes' if taken else 'refuses'} and our reader {'takes' if says is None else 'refuses'}: {says or lint}\n{file.read_text()}")
    print(f"damaged at random: {count}; taken by both {both}, refused by both {neither}, refused by our reader alone for a listed reason {stricter}, disagreements {len(wrong)}")
    return wrong


def test_xml():
    command, judges = obvert(), Judges()
    wrong = check_documents(command, judges, documents(sys.argv[1:] if __name__ == "__main__" else []))
    wrong += check_mutations(command, judges)
    wrong += check_damaged(command, judges, int(os.environ.get("FUZZ", "1000")))
    assert not wrong, "\n".join(wrong[:20])


if __name__ == "__main__":
    try:
        test_xml()
    except AssertionError as error:
        sys.exit(f"{error}")
