"""How a draft is settled with whoever sits at the desk: questions one by one at a terminal, what was assumed confirmed, nothing typed lost."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import typer

from services.desk import terminal
from services.desk.terminal import TO_CONFIRM, say
from services.desk.texts.intake import draft_page, lettered, question_lines
from services.desk.texts.wording import as_called
from shared_schemas.intake import IntakeDraft, IntakeRequest, Question

if TYPE_CHECKING:
    from services.client import Client


@dataclass
class Dialogue:
    """One file that becomes a request: what is sent, how the command was called, and what was answered so far."""

    sent: IntakeRequest
    command: str
    options: Sequence[tuple[str, str]] = ()
    yes: bool = False
    as_json: bool = False
    may_ask: bool = True
    asked: list[str] = field(default_factory=list)

    @property
    def is_asked(self) -> bool:
        """Whether somebody is there to be asked."""
        return self.may_ask and not self.as_json and terminal.somebody_is_there()

    def settled(self, desk: Client) -> IntakeDraft:
        """The draft when no question is open. Where nobody can be asked it is printed, and the command ends with its exit code."""
        draft = desk.intake(self.sent)
        try:
            while draft.questions and self.is_asked:
                if not self._ask(draft):
                    break
                draft = desk.intake(self.sent)
        except (typer.Abort, KeyboardInterrupt, EOFError):
            say("")
            self._give_up(draft, printed=True)
        if draft.questions:
            self._give_up(draft)
        return draft

    def confirmed(self, draft: IntakeDraft) -> None:
        """See that what was assumed is confirmed; where it is not, the command ends with its exit code."""
        if not draft.assumptions or self.yes:
            self._show(draft)
            return
        if not self.is_asked:
            self._give_up(draft)
        self._show(draft)
        try:
            agreed = typer.confirm("\nIs that right? Then it is quoted so", default=False, err=True)
        except (typer.Abort, EOFError):
            agreed = False
        if not agreed:
            self._give_up(draft, printed=True)

    def _show(self, draft: IntakeDraft) -> None:
        if not self.as_json:
            from services.desk.texts.page_parts import console_for  # noqa: PLC0415

            console_for(sys.stderr).print(draft_page(draft))

    def _ask(self, draft: IntakeDraft) -> bool:
        """Ask each question of a draft; whether any was answered."""
        self._say(
            f"{draft.name}: {'one question' if len(draft.questions) == 1 else f'{len(draft.questions)} questions'}. Enter alone leaves one open."
        )
        answered: dict[str, str] = {}
        for number, question in enumerate(draft.questions, start=1):
            for line in question_lines(question, number):
                self._say(line)
            answer = _read(question)
            if answer:
                answered[question.name] = answer
                self.sent = self.sent.model_copy(update={"answers": {**self.sent.answers, question.name: answer}})
        return bool(answered)

    def _say(self, line: str) -> None:
        say(line, quiet=self.as_json)

    def _give_up(self, draft: IntakeDraft, *, printed: bool = False) -> None:
        """End the command with what is known so far, and say how to go on."""
        if self.as_json:
            typer.echo(draft.model_dump_json())
            raise typer.Exit(TO_CONFIRM)
        if not printed:
            from services.desk.texts.page_parts import console_for  # noqa: PLC0415

            console_for(sys.stdout).print(draft_page(draft))
        left = self._left(draft)
        if left:
            say(f"\nNot quoted: {'one question is' if len(left) == 1 else f'{len(left)} questions are'} open. Go on with:")
        else:
            say("\nNot quoted: what was assumed is to be confirmed. Go on with:")
        say(self.how_to_go_on(draft))
        raise typer.Exit(TO_CONFIRM)

    def _left(self, draft: IntakeDraft) -> list[Question]:
        """Questions of a draft that nothing that was typed since answers."""
        return [question for question in draft.questions if question.name not in self.sent.answers]

    def how_to_go_on(self, draft: IntakeDraft) -> str:
        """The command that goes on from here, with every answer given so far."""
        words = [self.command]
        for option, value in self.options:
            words += [option, shlex.quote(value)]
        for name, answer in self.sent.answers.items():
            words += ["--answer", shlex.quote(f"{name}={answer}")]
        left = self._left(draft)
        words += ["--answer", shlex.quote(f"{left[0].name}=...")] if left else [] if draft.questions else ["--yes"]
        return as_called("  " + " ".join(words))


def _read(question: Question) -> str:
    """What was typed: the answer of the choice whose letter it is, or the words themselves; nothing for Enter alone."""
    by_letter = {letter: choice.answer for letter, choice in lettered(question).items()}
    how = "A letter" + (", or what it is" if question.free else "") if by_letter else "What is it"
    while True:
        typed = str(typer.prompt(f"   {how}", default="", show_default=False, err=True)).strip()
        if typed.lower() in by_letter:
            return by_letter[typed.lower()]
        known = {choice.answer.lower(): choice.answer for choice in question.choices}
        if not typed or question.free or typed.lower() in known:
            return known.get(typed.lower(), typed)
        say(f"   {typed} is none of these.")
