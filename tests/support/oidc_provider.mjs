// A certified OpenID provider (npm's oidc-provider) for the tests: real discovery, PKCE, signatures. Prints its issuer.
// node oidc_provider.mjs NODE_MODULES, settings as JSON on standard input: clients, people, pkce.
import { createServer } from "node:http";
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [modules] = process.argv.slice(2);
const { Provider } = await import(pathToFileURL(`${modules}/oidc-provider/lib/index.js`));
const { clients, people, tokenInId } = JSON.parse(readFileSync(0, "utf8"));

const server = createServer();
await new Promise((listening) => server.listen(0, "127.0.0.1", listening));
const issuer = `http://127.0.0.1:${server.address().port}`;
const provider = new Provider(issuer, {
  clients,
  claims: { openid: ["sub"], profile: ["name", "preferred_username", "role", "groups"], email: ["email"] },
  conformIdTokenClaims: !tokenInId,
  pkce: { required: () => true },
  features: { devInteractions: { enabled: true } },
  cookies: { keys: ["only for tests"] },
  findAccount: (_, id) => ({ accountId: id, claims: () => ({ sub: id, ...people[id] }) }),
});
server.on("request", provider.callback());
console.log(issuer);
