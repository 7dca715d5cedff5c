"""Tables of an app made in one go, by its first migration."""

from django.db.migrations.operations.base import Operation


class CreateTables(Operation):
    """CreateModel of many models that name each other, in any order.

    Django renders every model that is related anew after each CreateModel: with some
    eighty tables around one person, a new database would take three times as long.
    """

    reduces_to_sql = True

    def __init__(self, operations):
        self.operations = operations

    def deconstruct(self):
        return self.__class__.__name__, [], {"operations": self.operations}

    def describe(self):
        return f"Create {len(self.operations)} tables"

    def state_forwards(self, app_label, state):
        if "apps" in state.__dict__:  # rendered once more, when all are known
            del state.apps
        for operation in self.operations:
            operation.state_forwards(app_label, state)

    def database_forwards(self, app_label, schema_editor, from_state, to_state):
        for operation in self.operations:
            operation.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label, schema_editor, from_state, to_state):
        for operation in reversed(self.operations):
            operation.database_backwards(app_label, schema_editor, from_state, to_state)
