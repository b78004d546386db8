"""Mail to people of a site who have no chat account: when they get any, and what is added to it.

A mail holds the text, the private link of the visit's page, and the code by which the contact
knows that it is ours. Before the evening a question counts as delivered when its mail is accepted,
since nobody sits and watches a page for days; on the evening when the page has shown it.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from bot.model.message import NUDGE, Message
from bot.model.people import BY_PAGE, MAIL_TO, mail_thread
from bot.model.visit.state import Visit


def mailed(message: Message, visit: Visit, *, from_page: bool) -> Iterator[Message]:
    """The mail that goes with what is said on the page, if any.

    It has the message's own id where its acceptance is the delivery of the question.
    """
    question = visit.question
    asks = question is not None and question.message == message.id
    before = visit.state != "running"
    begins = asks and question is not None and question.kind == "begin"
    reminds = bool(message.buttons) and message.urgency == NUDGE and not asks
    if message.root or not (begins or reminds or (before and (asks or not from_page))):
        return
    mark = "" if asks and before else "l"
    mail = replace(message, id=message.id + mark, buttons=(), key="")
    yield letter(replace(mail, thread=mail_thread(visit.contact.key)), visit)


def only_by_mail(message: Message) -> bool:
    """Whether it is for one person alone who has no chat account, and so goes by mail."""
    return message.thread.startswith((f"user:{BY_PAGE}", MAIL_TO))


def letter(message: Message, visit: Visit) -> Message:
    """The message as mail with the link and the code."""
    home = f"w:{visit.wave}"
    thread = message.thread
    if thread.startswith("user:"):
        user = thread.removeprefix("user:")
        thread = mail_thread((visit.person(user) or visit.contact).key)
    link = f"@t:{home}/page:{visit.id}:{visit.page.generation}"
    args = {**message.args, "page": link, "proof": f"@t:{home}/proof:{visit.id}"}
    if "link" in args:  # the mirror is for the team; of the site nobody could open it
        args["link"] = link
    return replace(message, way="mail", thread=thread, args=args)
