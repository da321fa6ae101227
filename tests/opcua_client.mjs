// Reads values of an OPC UA server, signed and encrypted, by user and password, and says them as JSON: a client that shares no code
// with the server. Arguments: JSON with url, certificate, key, server, user, password, nodes, home.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";

const asked = JSON.parse(process.argv[2]);
const library = createRequire(`${asked.home}/`);
const opcua = library("node-opcua-client");
const { OPCUACertificateManager } = library("node-opcua-certificate-manager");
const trusting = new OPCUACertificateManager({ rootFolder: asked.pki, automaticallyAcceptUnknownCertificate: true });
await trusting.initialize();
const client = opcua.OPCUAClient.create({
  securityMode: opcua.MessageSecurityMode.SignAndEncrypt,
  securityPolicy: opcua.SecurityPolicy.Basic256Sha256,
  applicationUri: asked.uri,
  certificateFile: asked.certificate,
  privateKeyFile: asked.key,
  clientCertificateManager: trusting,
  serverCertificate: readFileSync(asked.server),
  endpointMustExist: false,
  connectionStrategy: { maxRetry: 0 },
});
try {
  await client.connect(asked.url);
  const session = await client.createSession({ type: opcua.UserTokenType.UserName, userName: asked.user, password: asked.password });
  const found = [];
  for (const nodeId of asked.nodes) {
    const said = await session.read({ nodeId, attributeId: opcua.AttributeIds.Value });
    found.push({ value: said.value.value, type: said.value.dataType, status: said.statusCode.value, time: said.sourceTimestamp });
  }
  console.log(JSON.stringify({ found }));
  await session.close();
  await client.disconnect();
} catch (error) {
  console.log(JSON.stringify({ refused: error.message }));
}
process.exit(0);
