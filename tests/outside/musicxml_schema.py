"""The MusicXML 4.0 schema, from the `musicxml` package, the two it imports from `xmlschema`."""
import pathlib
import re
import tempfile
import musicxml
import xmlschema


def validate(source):
    """Fails unless the text is valid, and unless the schema finds fault with a wrong one."""
    xsd = pathlib.Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
    parts = pathlib.Path(xmlschema.__file__).parent / "schemas"
    text = xsd.read_text(encoding="utf-8")
    for name, folder in (("xml", "XML"), ("xlink", "XLINK")):
        local = f'schemaLocation="{parts}/{folder}/{name}.xsd"'
        text, n = re.subn(rf'schemaLocation="[^"]*{name}\.xsd"', local, text)
        assert n == 1
    with tempfile.TemporaryDirectory() as folder:
        local = pathlib.Path(folder) / "musicxml.xsd"
        local.write_text(text, encoding="utf-8")
        schema = xmlschema.XMLSchema(str(local))
    body = re.sub(r"<!DOCTYPE[^>]*>", "", source)
    schema.validate(body)
    wrong = body.replace("<measure ", "<bar ", 1).replace("</measure>", "</bar>", 1)
    assert not schema.is_valid(wrong), "the schema takes anything"
