"""What a refused body is told: the field and what was expected, in plain words."""

from tests.live.visits import on_the_jig

REFUSED = [
    ("PATCH", "visit/measured", {"height_mm": 73}, "height_mm: expected greater than or equal to 400"),
    ("PATCH", "visit/measured", {"banana": 1}, "banana: is not known here"),
    ("POST", "typed/readings", {"hands": "12a"}, "hands: expected a number as the display shows it, such as 12.5"),
    ("POST", "proof", {"made_by": "", "dummy": None}, "made_by: write at least 1 letters"),
]


def test_a_refusal_names_the_field_and_what_was_expected(tmp_path):
    async def job(client, session):
        for method, path, body, said in REFUSED:
            answer = await client.request(method, f"/api/v1/{path}", json=body)
            assert answer.status_code == 422
            assert said in answer.json()["detail"]

    on_the_jig(tmp_path, job)
