"""Check digits of serials and certificate codes in the golden files, by `python-stdnum` (ISO/IEC 7064)."""

import base64
import json
import pathlib
import re

from stdnum.iso7064 import mod_37_36, mod_97_10

GOLDEN = pathlib.Path(__file__).resolve().parents[2] / "api" / "golden"


def decode(text):
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))


def main():
    serials, codes = set(), set()
    for file in GOLDEN.glob("*.entry.json"):
        golden = json.loads(file.read_text(encoding="utf-8"))
        payload = json.loads(decode(golden["entry"].split(".")[1]))
        serials.update(event["serial"] for event in payload["events"] if "serial" in event)
        for disclosure in golden["disclosures"]:
            _, member, value = json.loads(decode(disclosure["text"]))
            if member == "code":
                codes.add(value)
    for file in GOLDEN.glob("*.proof.json"):
        serials.add(json.loads(file.read_text(encoding="utf-8"))["serial"])
    assert serials and codes, "the golden files hold serials and codes"
    for serial in serials:
        code, number, check = re.fullmatch(r"([A-Z]{2,4})-([0-9]{4,6})-([0-9]{2})", serial).groups()
        assert mod_97_10.calc_check_digits(code + number) == check, serial
    for code in codes:
        assert mod_37_36.calc_check_digit(code[:-1]) == code[-1], code
    print(f"{len(serials)} serials and {len(codes)} certificate codes hold by python-stdnum")


main()
