"""Letters kept as .eml files that the desk can open: the embedded default, where no mail server is named."""

import os
from dataclasses import dataclass
from pathlib import Path

from tracker.actions.posting import Delivery, Letter, Outcome, file_name_of


@dataclass(frozen=True)
class FolderChannel:
    """Writes each letter to `folder`, whole or not at all, under its Message-ID: sent again, it replaces itself."""

    folder: Path

    def send(self, letter: Letter) -> Delivery:
        """Keep the letter; a folder that cannot be written is a reason to try later."""
        name = file_name_of(letter.message_id)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            half = self.folder / f".{name}.half"
            half.write_bytes(letter.content)
            os.replace(half, self.folder / name)
        except OSError as error:
            return Delivery(Outcome.LATER, f"The mail folder cannot be written: {error.strerror}.")
        return Delivery(Outcome.SENT, file_name=name)
