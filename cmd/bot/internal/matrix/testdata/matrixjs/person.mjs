// A person at matrix-js-sdk. Commands come in as JSON lines, answers and events
// go out as JSON lines: {"id": 1, "do": "say", ...} -> {"id": 1, "ok": ...}.
import { createInterface } from "node:readline";

for (const name of ["log", "info", "warn", "error", "debug", "trace"]) console[name] = () => {};
const out = (line) => process.stdout.write(JSON.stringify(line) + "\n");

const sdk = await import("matrix-js-sdk");
const { logger } = await import("matrix-js-sdk/lib/logger.js");
logger.setLevel("silent");

let client, crypto, auth;

async function shown(event) {
  const info = await crypto.getEncryptionInfoForEvent(event);
  out({
    event: {
      id: event.getId(), room: event.getRoomId(), sender: event.getSender(), type: event.getType(),
      content: event.getContent(), encrypted: event.isEncrypted(), failed: event.isDecryptionFailure(),
      why: event.decryptionFailureReason ?? "", colour: info ? info.shieldColour : -1, reason: info ? info.shieldReason : -1,
    },
  });
}

const does = {
  async start({ url, user, token, device, password }) {
    client = sdk.createClient({ baseUrl: url, userId: user, accessToken: token, deviceId: device });
    await client.initRustCrypto({ useIndexedDB: false });
    crypto = client.getCrypto();
    client.on("RoomMember.membership", (_, member) => {
      if (member.userId === user && member.membership === "invite") client.joinRoom(member.roomId).catch(() => {});
    });
    client.on("Event.decrypted", shown);
    client.on("Room.timeline", (event) => {
      if (!event.isEncrypted() && event.getType().startsWith("m.r") && !event.isState()) shown(event);
    });
    client.on("crypto.verificationRequestReceived", () => {});
    await client.startClient({ initialSyncLimit: 20 });
    await new Promise((done) => client.on("sync", (state) => state === "PREPARED" && done()));
    auth = { type: "m.login.password", identifier: { type: "m.id.user", user }, password };
    await crypto.bootstrapCrossSigning({ setupNewCrossSigning: true, authUploadDeviceSigningKeys: (make) => make(auth) });
  },
  async room({ invite, encrypted }) {
    const initial_state = encrypted ? [{ type: "m.room.encryption", state_key: "", content: { algorithm: "m.megolm.v1.aes-sha2" } }] : [];
    return (await client.createRoom({ preset: "private_chat", invite, initial_state })).room_id;
  },
  async members({ room, n }) {
    for (let i = 0; i < 500; i++) {
      const r = client.getRoom(room);
      if (r && r.getJoinedMemberCount() >= n && r.hasEncryptionStateEvent() !== undefined) return r.getJoinedMemberCount();
      await new Promise((done) => setTimeout(done, 20));
    }
    throw new Error("nobody came");
  },
  async say({ room, text, content, type }) {
    return (await client.sendEvent(room, type ?? "m.room.message", content ?? { msgtype: "m.text", body: text })).event_id;
  },
  async strict({ on }) { crypto.globalBlacklistUnverifiedDevices = on; },
  async newidentity() {
    await crypto.bootstrapCrossSigning({ setupNewCrossSigning: true, authUploadDeviceSigningKeys: (make) => make(auth) });
  },
  async rekey({ room }) { await crypto.forceDiscardSession(room); },
  async invite({ room, user }) { await client.invite(room, user); },
  async trust({ user, device }) {
    const s = await crypto.getDeviceVerificationStatus(user, device);
    return { signed: s?.signedByOwner ?? false, verified: s?.isVerified() ?? false };
  },
  async devices({ user }) { return [...((await crypto.getUserDeviceInfo([user], true)).get(user)?.keys() ?? [])]; },
  async verify({ user, room }) {
    const request = await crypto.requestVerificationDM(user, room);
    await new Promise((done) => {
      const look = () => request.phase >= 3 && done();
      request.on("change", look);
      look();
    });
    const verifier = await request.startVerification("m.sas.v1");
    verifier.on("show_sas", (sas) => { out({ sas: sas.sas.emoji.map((e) => e[1]) }); sas.confirm(); });
    await verifier.verify();
  },
  async picture({ file, url }) {
    const at = client.mxcUrlToHttp(file?.url ?? url, undefined, undefined, undefined, false, true, true);
    const got = await fetch(at, { headers: { Authorization: "Bearer " + client.getAccessToken() } });
    const bytes = new Uint8Array(await got.arrayBuffer());
    if (!file) return Buffer.from(bytes).toString("base64");
    const hash = Buffer.from(await globalThis.crypto.subtle.digest("SHA-256", bytes)).toString("base64").replace(/=+$/, "");
    if (hash !== file.hashes.sha256) throw new Error("other bytes than were sent");
    const key = await globalThis.crypto.subtle.importKey("jwk", file.key, { name: "AES-CTR" }, false, ["decrypt"]);
    const plain = await globalThis.crypto.subtle.decrypt({ name: "AES-CTR", counter: Buffer.from(file.iv, "base64"), length: 64 }, key, bytes);
    return Buffer.from(plain).toString("base64");
  },
  async shows({ room }) {
    return client.getRoom(room).getLiveTimeline().getEvents()
      .filter((e) => e.getType() === "m.room.message" && !e.isRelation("m.replace") && !e.isRedacted())
      .map((e) => ({ id: e.getId(), sender: e.getSender(), type: e.getType(), content: e.getContent(), encrypted: e.isEncrypted() }));
  },
  async stop() { client.stopClient(); setTimeout(() => process.exit(0), 10); },
};

createInterface({ input: process.stdin }).on("line", async (line) => {
  const m = JSON.parse(line);
  try {
    out({ id: m.id, ok: (await does[m.do](m)) ?? null });
  } catch (e) {
    out({ id: m.id, error: String(e?.stack ?? e) });
  }
}).on("close", () => process.exit(0));
