"""Printed sheets (tests/print/*.pdf) read by `pikepdf` (qpdf), their fonts by `fontTools`, their colour profile by Pillow.

Each rule of ISO 19005-3 (PDF/A-3, conformance level A) and ISO 14289-1 (PDF/UA-1) that is looked at is named by its clause, with
the clauses of ISO 32000-1 behind it; numbers of clauses are from memory. This is no whole validator: of the graphics only
operators, colours and fonts are looked at.
"""

import datetime
import io
import pathlib
import re

import pikepdf
from fontTools.ttLib import TTFont
from PIL import ImageCms

FOLDER = pathlib.Path(__file__).resolve().parents[1] / "print"
# What ISO 32000-1, annex A knows, as far as it may stand in a page of ours.
OPERATORS = set("q Q cm w J j M d ri i gs m l c v y h re S s f F f* B B* b b* n W W* BT ET Tc Tw Tz TL Tf Tr Ts Td TD Tm T* "
                "Tj TJ ' \" CS cs SC SCN sc scn G g RG rg K k sh Do BMC BDC EMC MP DP".split())
ACTIONS_FORBIDDEN = {"/Launch", "/Sound", "/Movie", "/ResetForm", "/ImportData", "/Hide", "/SetOCGState", "/Rendition", "/Trans",
                     "/GoTo3DView", "/JavaScript"}
STRUCTURE = {"/Document", "/H1", "/H2", "/P", "/Figure", "/Span"}

checked = 0


def rule(holds, clause, what):
    global checked
    checked += 1
    if not holds:
        raise SystemExit(f"{name}: {clause}: {what}")


def file_form(raw, pdf):
    rule(raw.startswith(b"%PDF-1.7\n%") or raw.startswith(b"%PDF-1.7\r\n%"), "6.1.2", "the header is no %PDF-1.n and a comment")
    comment = raw.split(b"\n", 2)[1]
    rule(len(comment) >= 5 and all(byte > 127 for byte in comment[1:5]), "6.1.2", "fewer than four bytes above 127 behind it")
    rule(raw.rstrip(b"\r\n").endswith(b"%%EOF"), "6.1.3", "something stands behind the last %%EOF")
    ids = pdf.trailer.get("/ID")
    rule(ids is not None and len(ids) == 2 and all(len(bytes(one)) >= 16 for one in ids), "6.1.3", "the trailer has no ID")
    rule("/Encrypt" not in pdf.trailer, "6.1.3", "it is encrypted")
    for one in pdf.objects:
        if isinstance(one, pikepdf.Stream):
            rule(not {"/F", "/FFilter", "/FDecodeParms"} & set(one.keys()), "6.1.7.1", "a stream lies in another file")
            filters = one.get("/Filter", [])
            filters = filters if isinstance(filters, pikepdf.Array) else [filters]
            rule(not {"/LZWDecode", "/Crypt"} & {str(one) for one in filters}, "6.1.7.2", "LZW or encryption")
    for one in walk(pdf.Root):
        if isinstance(one, pikepdf.Dictionary):
            rule(str(one.get("/S", "")) not in ACTIONS_FORBIDDEN, "6.5.1", f"an action {one.get('/S')}")
            rule("/AA" not in one, "6.5.2", "an additional action")
            rule("/JS" not in one, "6.5.1", "a script")
    rule("/XFA" not in pdf.Root.get("/AcroForm", {}), "6.4.2", "a form of XML")
    rule("/Requirements" not in pdf.Root, "6.10", "requirements")


def walk(start):
    waiting, seen = [start], set()
    while waiting:
        one = waiting.pop()
        if one.is_indirect if hasattr(one, "is_indirect") else False:
            if one.objgen in seen:
                continue
            seen.add(one.objgen)
        if isinstance(one, (pikepdf.Dictionary, pikepdf.Stream)):
            yield one
            waiting.extend(value for key, value in one.items() if isinstance(value, pikepdf.Object))
        elif isinstance(one, pikepdf.Array):
            yield one
            waiting.extend(value for value in one if isinstance(value, pikepdf.Object))


def metadata(pdf):
    stream = pdf.Root.get("/Metadata")
    rule(stream is not None and stream.Type == "/Metadata" and stream.Subtype == "/XML", "6.6.2.1", "there is no XMP")
    rule("/Filter" not in stream, "6.6.2.1", "the XMP is compressed")
    packet = stream.read_raw_bytes()
    opening = packet[: packet.index(b"?>")] if b"?>" in packet else b""
    rule(b"bytes=" not in opening and b"encoding=" not in opening, "6.6.2.1", "its packet has attributes of before")
    meta = pdf.open_metadata()
    said = (meta.get("pdfaid:part"), meta.get("pdfaid:conformance"))
    rule(said == ("3", "A"), "6.6.4", f"it says it is PDF/A {said}")
    rule(meta.get("pdfuaid:part") == "1", "ISO 14289-1, 5", "it does not say that it is PDF/UA-1")
    title = meta.get("dc:title")
    rule(bool(title), "ISO 14289-1, 7.1", "it has no title")
    rule(pdf.Root.get("/ViewerPreferences", {}).get("/DisplayDocTitle") is not None and
         bool(pdf.Root.ViewerPreferences.DisplayDocTitle), "ISO 14289-1, 7.1", "its title is not shown")
    if "/Info" in pdf.trailer:
        info = pdf.trailer.Info
        if "/Title" in info:
            rule(str(info.Title) == title, "6.6.3", "two titles")
        if "/Author" in info:
            rule([str(info.Author)] == list(meta.get("dc:creator", [])), "6.6.3", "two authors")
        if "/CreationDate" in info:
            dated = re.fullmatch(r"D:(\d{14})(?:Z|[+-]00'00'?)", str(info.CreationDate))
            rule(dated is not None, "6.6.3", f"the date {info.CreationDate}")
            of_meta = datetime.datetime.fromisoformat(meta.get("xmp:CreateDate").replace("Z", "+00:00"))
            same = datetime.datetime.strptime(dated.group(1), "%Y%m%d%H%M%S").replace(tzinfo=datetime.timezone.utc)
            rule(of_meta == same, "6.6.3", "two dates of making")


def colours(pdf):
    intents = [one for one in pdf.Root.get("/OutputIntents", []) if one.S == "/GTS_PDFA1"]
    rule(len(intents) == 1, "6.2.3", f"{len(intents)} output intents for PDF/A")
    profile = intents[0].DestOutputProfile
    rule(profile.N == 3, "6.2.3", "the profile has not three components")
    raw = profile.read_bytes()
    rule(raw[36:40] == b"acsp" and raw[16:20] == b"RGB " and raw[12:16] in (b"mntr", b"prtr"), "6.2.3",
         "the profile is no ICC profile of RGB (ICC.1, 7.2)")
    rule(raw[8] <= 4, "6.2.3", "a profile of a later version of ICC")
    said = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(raw)))
    rule(bool(said.strip()), "6.2.3", "a profile that a library cannot read")


def pages(pdf):
    shown = {}
    for page in pdf.pages:
        rule("/Tabs" not in page or page.Tabs == "/S", "ISO 14289-1, 7.18.3", "another order of tabs than that of structure")
        rule("/Group" not in page or page.Group.get("/CS") is not None, "6.2.10", "transparency without a colour space")
        marked = 0
        font = None
        for operands, operator in pikepdf.parse_content_stream(page):
            word = str(operator)
            rule(word in OPERATORS, "6.2.2", f"the operator {word}")
            # With an output intent of RGB, colours of the device are grey or RGB (6.2.4.3).
            rule(word not in {"K", "k"}, "6.2.4.3", "a colour of CMYK")
            if word in {"BDC", "BMC"}:
                marked += 1
            elif word == "EMC":
                marked -= 1
            elif word in {"Tj", "TJ", "f", "f*", "S", "Do"}:
                rule(marked > 0, "ISO 14289-1, 7.1", f"{word} is neither tagged nor an artifact")
            if word == "Tf":
                font = str(operands[0])
            if word in {"Tj", "TJ"}:
                texts = operands[0] if word == "TJ" else [operands[0]]
                codes = b"".join(bytes(text) for text in texts if isinstance(text, pikepdf.String))
                named = page.Resources.Font[font]
                shown.setdefault(named.objgen, (named, set()))[1].update(codes[i : i + 2] for i in range(0, len(codes), 2))
            if word == "Tr":
                rule(int(operands[0]) != 3, "6.2.11.4", "invisible text, for which a font need not be embedded")
        rule(marked == 0, "ISO 32000-1, 14.6", "marks that do not end")
    return list(shown.values())


def fonts(shown):
    rule(len(shown) >= 1, "6.2.11", "no text")
    for font, codes in shown:
        rule(font.Subtype == "/Type0" and font.Encoding == "/Identity-H", "6.2.11.3", "another kind of font than ours")
        [inner] = font.DescendantFonts
        described = inner.FontDescriptor
        program = described.get("/FontFile2") or described.get("/FontFile3")
        rule(program is not None, "6.2.11.4.1", f"{font.BaseFont} is not embedded")
        rule(re.match(r"/[A-Z]{6}\+", str(font.BaseFont)) is not None, "ISO 32000-1, 9.6.4", "a subset without its tag")
        rule("/ToUnicode" in font, "6.2.11.7.2", f"{font.BaseFont} does not say which characters its glyphs stand for")
        known = unicodes(font.ToUnicode.read_bytes())
        for code in codes:
            text = known.get(code)
            rule(text, "6.2.11.7.2", f"glyph {code.hex()} of {font.BaseFont} stands for no character")
            rule(not set(text) & set("\0\ufeff\ufffe"), "6.2.11.7.2", "a glyph stands for U+0000, U+FEFF or U+FFFE")
        rule(inner.Subtype == "/CIDFontType0" or inner.get("/CIDToGIDMap") is not None, "6.2.11.3.2", "no map to glyphs")
        widths(font, inner, program, codes)


def listed(cidset):
    """The glyphs that a CIDSet lists: a bit for each, the highest bit of a byte first (ISO 32000-1, table 124)."""
    return {8 * place + bit for place, byte in enumerate(cidset) for bit in range(8) if byte & 0x80 >> bit}


def unicodes(cmap):
    known = {}
    text = cmap.decode("ascii")
    for block in re.findall(r"beginbfchar(.*?)endbfchar", text, re.S):
        for code, to in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
            known[bytes.fromhex(code)] = bytes.fromhex(to).decode("utf-16-be")
    for block in re.findall(r"beginbfrange(.*?)endbfrange", text, re.S):
        for first, last, to in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>", block):
            start = int(to, 16)
            for step in range(int(last, 16) - int(first, 16) + 1):
                known[(int(first, 16) + step).to_bytes(2, "big")] = (start + step).to_bytes(len(to) // 2, "big").decode("utf-16-be")
    return known


def widths(font, inner, program, codes):
    """The widths in the file are those of the font program (6.2.11.5), which a library reads."""
    raw = program.read_bytes()
    face = TTFont(io.BytesIO(raw)) if raw[:4] in (b"\0\1\0\0", b"OTTO", b"true") else None
    rule(face is not None, "6.2.11.2", f"{font.BaseFont} is no TrueType or OpenType font")
    if "/CIDSet" in inner.FontDescriptor:
        glyphs = listed(inner.FontDescriptor.CIDSet.read_bytes())
        whole = glyphs == set(range(face["maxp"].numGlyphs))
        rule(whole, "6.2.11.4.2", f"{font.BaseFont} has {face['maxp'].numGlyphs} glyphs, listed are {len(glyphs)}")
    per_em = face["head"].unitsPerEm
    advances, order = face["hmtx"], face.getGlyphOrder()
    stated, rest = {}, list(inner.get("/W", []))
    while rest:
        first = int(rest.pop(0))
        if isinstance(rest[0], pikepdf.Array):
            for step, width in enumerate(rest.pop(0)):
                stated[first + step] = float(width)
        else:
            last, width = int(rest.pop(0)), float(rest.pop(0))
            stated.update(dict.fromkeys(range(first, last + 1), width))
    for code in codes:
        glyph = int.from_bytes(code, "big")
        width = stated.get(glyph, float(inner.get("/DW", 1000)))
        own = advances[order[glyph]][0] * 1000 / per_em
        rule(abs(width - own) <= 1, "6.2.11.5", f"glyph {glyph} of {font.BaseFont} is {own} wide, stated is {width}")


def structure(pdf):
    rule(bool(pdf.Root.get("/MarkInfo", {}).get("/Marked")), "6.7.2.2", "it does not say that it is tagged")
    rule(re.fullmatch(r"[a-z]{2}(-[A-Z]{2})?", str(pdf.Root.get("/Lang", ""))) is not None, "6.7.4", "it states no language")
    root = pdf.Root.get("/StructTreeRoot")
    rule(root is not None, "6.7.3.1", "it has no tree of structure")
    heads, figures = [], 0
    for one in walk(root):
        if not isinstance(one, pikepdf.Dictionary) or one.get("/Type", "/StructElem") != "/StructElem" or "/S" not in one:
            continue
        kind = str(one.S)
        mapped = str(root.get("/RoleMap", {}).get(kind, kind))
        rule(mapped in STRUCTURE, "6.7.3.4", f"the structure {kind}")
        if mapped == "/Figure":
            figures += 1
            rule(bool(str(one.get("/Alt", ""))), "ISO 14289-1, 7.3", "a figure without its words")
        if re.fullmatch(r"/H[1-6]", mapped):
            heads.append(int(mapped[2:]))
    return heads, figures


def attached(pdf, wanted):
    named = list(pdf.attachments)
    rule(named == wanted, "6.8", f"attached is {named}")
    linked = [str(one.get("/UF")) for one in pdf.Root.get("/AF", [])]
    rule(linked == wanted, "6.8", f"associated with the document is {linked}")
    for one in pdf.Root.get("/AF", []):
        rule(one.AFRelationship in {"/Source", "/Data", "/Alternative", "/Supplement", "/Unspecified"}, "6.8", "no relationship")
        rule("/F" in one and "/UF" in one, "6.8", "a file without both its names")
        rule(bool(str(one.get("/Desc", ""))), "6.8", "a file without its words")
        stream = one.EF.F
        rule(str(stream.get("/Subtype", "")) == "/application/json", "6.8", "a file without its media type")
        rule("/ModDate" in stream.Params, "6.8", "a file without its date")
        rule(stream.read_bytes() == b'{"v":1}\n', "the record", "the file is another one than was attached")


WANTED = {
    "edition": ["TW-0007-65.proof.json"],
    "edition-a5": ["TW-0007-65.proof.json"],
    "hallmarked": ["ST-0012-18.proof.json"],
    "odd": ["DW-0003-15.proof.json"],
    "labels": [],
    "packing": [],
}
files = sorted(FOLDER.glob("*.pdf"))
assert {path.stem for path in files} == set(WANTED), [path.name for path in files]
for path in files:
    name = path.name
    raw = path.read_bytes()
    with pikepdf.open(io.BytesIO(raw)) as pdf:
        faults = pdf.check_pdf_syntax()
        rule(faults == [], "ISO 32000-1", f"qpdf says {faults}")
        file_form(raw, pdf)
        metadata(pdf)
        colours(pdf)
        fonts(pages(pdf))
        heads, figures = structure(pdf)
        wanted = WANTED[path.stem]
        rule(bool(heads) == (path.stem != "labels"), "the sheet", f"headings {heads}")
        rule(figures == {"labels": 3, "packing": 0}.get(path.stem, 1), "the sheet", f"{figures} figures")
        attached(pdf, wanted)
print(f"sheets: {len(files)} files, {checked} looks at rules of ISO 19005-3, ISO 14289-1 and ISO 32000-1 hold")
