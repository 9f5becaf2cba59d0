"""Under the smallest size every key still does what it does, and nothing breaks."""

import pytest

from tests.terminal.screens import demo_app, dump


@pytest.mark.parametrize("size", [(20, 5), (40, 10), (79, 23)])
@pytest.mark.parametrize(
    "keys",
    [["2", "0"], ["slash", *"knee", "2"], ["exclamation_mark", "2", "space", "c", "enter", "q"], ["f", "1"], ["b", "0", "left", "K", "enter"]],
    ids=["grade", "find", "reasons", "flags", "known"],
)  # fmt: skip
async def test_a_window_that_is_too_small_breaks_nothing(tmp_path, size, keys):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=size) as pilot:
        await pilot.press("j", "j", "enter", *keys)
        assert any("Needs 80 x 24"[: size[0]] in line for line in dump(app))
        await pilot.resize_terminal(80, 24)
        for _ in range(200):
            if dump(app)[0].startswith("A3 Beatrix Lund"):
                break
            await pilot.pause(0.02)
        assert dump(app)[0].startswith("A3 Beatrix Lund")
