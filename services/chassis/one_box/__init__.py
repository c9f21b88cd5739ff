"""The whole suite on one machine: a broker and a database from wheels, one API, one worker, one beat, one supervisor.

`start` brings it up and returns when it answers, `running` says where it is, `stop` takes it down, `erase` removes it. All its data lies in
one folder; nothing is installed on the machine and nothing needs root.
"""

from services.chassis.one_box.box import Address, OneBoxError, erase, running, start, stop

__all__ = ["Address", "OneBoxError", "erase", "running", "start", "stop"]
