"""Who outside is told of what happened, and did they hear it?

An entry of the feed of estimates becomes a delivery to every endpoint that wants its type, and each delivery is sent until it was taken, or for
a day. `envelope.py` is the body, `signing.py` its signature, `targets.py` which addresses may be spoken to, `sending.py` one request,
`schedule.py` when the next is due, `delivering.py` all of it together.

Why it lies in quoting and not in orders: the place up to which an endpoint has been told moves in the same transaction that makes its
deliveries, and in the database that holds the feed. So nothing lies between the two that could lose an entry or tell one twice, and a backup
that is restored has both of the same moment. Orders would read the feed over HTTP and keep a cursor of another database.

Why it is a worker of its own (queue `webhooks`): strangers decide how long a request takes. It may take ten seconds, and no quote should
stand behind it. In a fleet that worker alone has a way out. It connects as quoting does, for it reads the feed and writes deliveries in one
transaction.

Delivery is at least once and in order: an endpoint has one delivery under way, its oldest. A process that dies between the answer and the
record of it leaves a lease that ends, and the same message is sent again under the same `webhook-id`.
"""
