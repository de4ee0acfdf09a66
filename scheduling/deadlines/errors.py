"""What is wrong with a rule or with columns of facts."""


class BadRule(ValueError):
    """A rule that no clock can follow: which one, and why."""

    def __init__(self, code: str, reason: str) -> None:
        super().__init__(f"{code}: {reason}")
        self.code = code
        self.reason = reason


class BadFacts(ValueError):
    """Columns that do not fit each other."""


class BadPack(ValueError):
    """A rule pack that is not taken: the file, the rule (empty for the file as a whole), and why."""

    def __init__(self, file: str, rule: str, reason: str) -> None:
        super().__init__(f"{file}: {rule + ': ' if rule else ''}{reason}")
        self.file = file
        self.rule = rule
        self.reason = reason
