"""A copy of the whole record in one folder, readable without us, and a record from it.

    rows/<table>.jsonl      one JSON object a row, in the order of their keys
    photos/originals/ab/…   photos as they came, named by their SHA-256; photos/renditions/ab/… what was developed from them
    letters/<id>.eml        copies of letters as they left
    keys/                   link.key and secret.key, where they stand in files
    manifest.json           written last: without it a folder is no back-up

The format is the same whatever the database, so that a studio may be restored from SQLite into PostgreSQL and back.
"""

from studio.workshop.backup.making import back_up
from studio.workshop.backup.manifest import BadBackup, Manifest, verify
from studio.workshop.backup.restoring import Restored, refuse_used_record, restore

__all__ = ["BadBackup", "Manifest", "Restored", "back_up", "refuse_used_record", "restore", "verify"]
