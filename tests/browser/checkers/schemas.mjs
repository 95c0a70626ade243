// Check JSON Schemas and YAML records as editors and validators do: Ajv in strict mode with its formats,
// and the YAML language server. Reads {schemas: {kind: schema}, records: [{kind, name, text}]} from the standard
// input, and prints a list of complaints.
import { readFileSync } from "node:fs";
import Ajv from "ajv/dist/2020.js";
import addFormats from "ajv-formats";
import { parse } from "yaml";
import { getLanguageService, TextDocument } from "yaml-language-server";

const { schemas, records } = JSON.parse(readFileSync(0, "utf8"));
const complaints = [];

for (const [kind, schema] of Object.entries(schemas)) {
  const ajv = new Ajv.default({ strict: true, allErrors: true });
  addFormats.default(ajv);
  let validate;
  try {
    validate = ajv.compile(schema);
  } catch (error) {
    complaints.push(`ajv: ${kind}: ${error.message}`);
    continue;
  }
  for (const record of records.filter((one) => one.kind === kind)) {
    if (!validate(parse(record.text))) {
      for (const error of validate.errors) {
        complaints.push(`ajv: ${record.name}: ${error.instancePath} ${error.message}`);
      }
    }
  }
}

const quiet = { send: () => {}, sendError: () => {}, sendTrack: () => {} };
const service = getLanguageService({
  schemaRequestService: (uri) =>
    Promise.resolve(JSON.stringify(schemas[uri.split("/").pop().replace(".json", "")])),
  workspaceContext: { resolveRelativePath: (path) => path },
  telemetry: quiet,
  yamlSettings: { yamlFormatterSettings: {} },
  connection: { onRequest: () => {} },
});
service.configure({
  validate: true,
  schemas: Object.keys(schemas).map((kind) => ({
    uri: `kilnfolio:/${kind}`,
    fileMatch: [`*.${kind}.yaml`],
  })),
});
for (const record of records) {
  const document = TextDocument.create(
    `file:///${record.name}.${record.kind}.yaml`,
    "yaml",
    1,
    record.text,
  );
  for (const found of await service.doValidation(document, false)) {
    complaints.push(
      `yaml-language-server: ${record.name}:${found.range.start.line + 1}: ${found.message}`,
    );
  }
}
console.log(JSON.stringify(complaints));
