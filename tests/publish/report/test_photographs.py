from __future__ import annotations

import base64
import io
import re
from dataclasses import replace

import pytest
from PIL import Image

from fieldaero.basics.errors import RunSheetError
from fieldaero.publish.report import html_report
from tests.publish.test_photos import with_position
from tests.whole_sessions import sample_result


def in_folder(folder, *photos):
    """The sample's result as if its run sheet lay in a folder and named photographs for the first setup."""
    result = sample_result()
    first, *others = result.supporting_data.setups
    supporting = replace(result.supporting_data, setups=(replace(first, photos=photos), *others))
    sheet = replace(result.session.run_sheet, path=folder / "test.toml")
    return replace(result, supporting_data=supporting, session=replace(result.session, run_sheet=sheet))


def test_photographs_are_embedded_without_their_position(tmp_path):
    with_position(tmp_path / "front.jpg")
    html = html_report(in_folder(tmp_path, "front.jpg"))
    (data,) = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', html)
    assert not Image.open(io.BytesIO(base64.b64decode(data))).getexif()
    assert 'alt="road bar, photograph 1 of 1"' in html


def test_a_photograph_that_cannot_be_used_is_an_error_or_a_remark(tmp_path):
    result = in_folder(tmp_path, "../secret.jpg")
    with pytest.raises(RunSheetError, match="outside the run sheet's folder"):
        html_report(result)
    assert "Not shown: photo ../secret.jpg" in html_report(result, strict_photos=False)
