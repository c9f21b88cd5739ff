// What a caller writes on top of the types that openapi-typescript made, with openapi-fetch: a quote, its estimate, a rate table.
//     node client.js URL KEYS.json REQUEST.json

import { readFileSync } from "node:fs";
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

type QuoteRequest = components["schemas"]["QuoteRequest"];
type Problem = components["schemas"]["Problem"];
type Answer<T> = { data?: T; error?: Problem; response: Response };

const [url, keysFile, requestFile] = process.argv.slice(2) as [string, string, string];
const keys = JSON.parse(readFileSync(keysFile, "utf8")) as Record<string, string>;
const request = JSON.parse(readFileSync(requestFile, "utf8")) as QuoteRequest;

function clientOf(role: string) {
  return createClient<paths, "application/json" | "application/problem+json">({ baseUrl: url, headers: { Authorization: `Bearer ${keys[role]}` } });
}

function given<T>({ data, error, response }: Answer<T>): T {
  if (data === undefined) throw new Error(`${response.status} ${error?.title}: ${error?.detail}`);
  return data;
}

async function untilSettled(number: string) {
  for (let turn = 0; turn < 600; turn++) {
    const quote = given(await sales.GET("/v1/quotes/{number}", { params: { path: { number } } }));
    if (quote.status === "ready" || quote.status === "refused" || quote.status === "failed") return quote;
    await new Promise((resolve) => setTimeout(resolve, 100));
  }
  throw new Error(`${number} is not settled after a minute`);
}

const [sales, erp, engineer] = [clientOf("sales"), clientOf("erp"), clientOf("engineer")];

const accepted = given(
  await sales.POST("/v1/quotes", { body: request, params: { header: { "idempotency-key": "client-check-typescript" } } }),
);
const quote = await untilSettled(accepted.number);
if (quote.status !== "ready" || !quote.breaks?.length) throw new Error(`${quote.number} is ${quote.status}`);
for (const each of quote.breaks) {
  const price: string = each.unit_price;
  console.log(`typescript: ${quote.number}: ${each.quantity} at ${price} ${quote.currency}`);
}

const number = quote.number;
given(
  await sales.POST("/v1/quotes/{number}/decision", {
    params: { path: { number } },
    body: { decision: "accepted", quantity: quote.breaks[0]!.quantity, by: "client check" },
  }),
);
const estimate = given(await erp.GET("/v1/estimates/{number}", { params: { path: { number: number.replace(/^Q/, "E") } } }));
if (estimate.view !== "full") throw new Error("an estimate that is not a plan has its quantities");
console.log(`typescript: ${estimate.number}: ${estimate.quantities.length} quantities, ${estimate.quantities[0]?.operations.length} operations`);

const path = { table: "work_centres" };
const read = await engineer.GET("/v1/rates/tables/{table}", { params: { path } });
const table = given(read);
const rows = table.rows.map((row, place) => (place === 0 ? { ...row, labour_rate_per_h: "62.50" } : row));
const put = given(
  await engineer.PUT("/v1/rates/tables/{table}", {
    params: { path, header: { "if-match": read.response.headers.get("ETag") } },
    body: { rows, reason: "wages of the year" },
  }),
);
if (put.revision <= table.revision) throw new Error(`${put.table} is still at revision ${put.revision}`);
console.log(`typescript: ${put.table} is at revision ${put.revision}`);

const refused = await engineer.PUT("/v1/rates/tables/{table}", { params: { path }, body: { rows, reason: "wages of the year" } });
if (refused.error?.status !== 428) throw new Error("a change without If-Match is refused with a problem");
