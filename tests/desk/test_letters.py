"""Mail to a contact without a chat account, and what of the team's doings their page shows."""

from msgspec.structs import replace

from bot.desk.letters import letter
from bot.desk.mirror import Talk, mirrored
from bot.model.fact import Pressed
from bot.model.people import page_user
from bot.model.visit.state import Person, Visit
from bot.send.pages import letter as written
from bot.speak.catalogue import standard
from tests.model.kit import ONCALL, SITE, Walk, plan
from tests.model.test_visit_handing import offered

CODE, PROOF = "K4T-9XW", "CDF-347"


def test_the_code_to_pass_the_visit_on_is_not_the_code_of_the_sheet() -> None:
    walk, given = offered()
    contact = Person("k1", page_user(SITE))
    message = next(m for m in walk.messages if m.template == "handing_code")
    message = replace(message, thread=f"user:{contact.user}")
    visit = replace(walk.visit, contact=contact)
    mail = letter(message, visit)
    assert mail.args["code"] == given
    args = {**mail.args, "code": CODE, "proof": PROOF, "page": "https://desk.example.org/v/x"}
    _, body = written(mail, standard(), args, "")
    assert PROOF in body
    assert CODE not in body


def test_what_the_team_presses_is_not_shown_as_the_contacts_own() -> None:
    walk = Walk(plan()).begin()
    visit: Visit = walk.visit
    for action in ("e:e1:take", "b:e1:m15", "g:e1:let_go", f"r:{visit.start}:go"):
        fact = Pressed(
            id=f"press:{action}",
            subject=walk.subject,
            received_at=walk.now,
            actor=ONCALL,
            action=action,
        )
        assert mirrored(fact, visit, "ok", (), walk.context, Talk(pages=True)) == (), action
