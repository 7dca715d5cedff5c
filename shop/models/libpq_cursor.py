"""Statements that PostgreSQL plans once for a connection, sent by libpq itself."""

import functools
import itertools

from psycopg import Connection, errors, pq
from psycopg.adapt import PyFormat, Transformer

DONE = {pq.ExecStatus.COMMAND_OK, pq.ExecStatus.TUPLES_OK}


@functools.lru_cache(maxsize=2_000)
def _with_numbers(sql: str) -> bytes:
    """A statement as PostgreSQL writes one: $1, $2 where the values go."""
    first, *texts = sql.replace("%%", "\0").split("%s")
    numbered = "".join(f"${at}{text}" for at, text in enumerate(texts, start=1))
    return (first + numbered).replace("\0", "%").encode()


class LibpqCursor:
    """As much of a cursor as a prepared statement needs.

    What psycopg does around each costs the server more than the answer costs the
    database. It plans none of its own here, or it would drop these with its own.
    """

    def __init__(self, connection: Connection):
        self.connection, self.pgconn = connection, connection.pgconn
        self.transformer = Transformer(connection)
        self.names: dict[tuple, bytes] = {}
        self.numbers = itertools.count()
        self.result = None

    def execute(self, sql: str, params) -> None:
        formats = [PyFormat.AUTO] * len(params)
        values = self.transformer.dump_sequence(params, formats)
        self._begin()
        name = self._planned(sql, self.transformer.types)
        formats = self.transformer.formats
        self.result = self._answered(self.pgconn.exec_prepared(name, values, formats))
        self.transformer.set_pgresult(self.result)

    def fetchall(self) -> list[tuple]:
        return self.transformer.load_rows(0, self.result.ntuples, tuple)

    def fetchone(self) -> tuple | None:
        return self.transformer.load_row(0, tuple)

    @property
    def rowcount(self) -> int:
        return self.result.command_tuples

    def _begin(self) -> None:
        """As psycopg does before the first statement of a transaction."""
        idle = self.pgconn.transaction_status == pq.TransactionStatus.IDLE
        if idle and not self.connection.autocommit:
            self._answered(self.pgconn.exec_(b"BEGIN"))

    def _planned(self, sql: str, types) -> bytes:
        key = (sql, types)
        if key not in self.names:
            name = f"shop_{next(self.numbers)}".encode()
            asked = self.pgconn.prepare(name, _with_numbers(sql), types)
            self._answered(asked)
            self.names[key] = name
        return self.names[key]

    def _answered(self, result):
        if result.status in DONE:
            return result
        error = errors.error_from_result(result, self.transformer.encoding)
        if not error.sqlstate:
            # The database gave no code: it is gone.
            raise errors.OperationalError(str(error))
        if isinstance(error, errors.InvalidSqlStatementName):
            self.names.clear()  # somebody else dropped them
        raise error
