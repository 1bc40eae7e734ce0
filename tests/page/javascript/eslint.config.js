import globals from "globals";

// Every rule names a mistake; how it looks is not linted.
const rules = {
  "no-undef": "error",
  "no-unused-vars": "error",
  "no-redeclare": "error",
  "no-shadow": ["error", { builtinGlobals: false }],
  "no-unreachable": "error",
  "no-dupe-keys": "error",
  "no-dupe-else-if": "error",
  "no-self-assign": "error",
  "no-constant-condition": "error",
  "no-empty": "error",
  "no-eval": "error",
  "no-implied-eval": "error",
  "no-new-func": "error",
  "no-var": "error",
  "prefer-const": ["error", { destructuring: "all" }],
  eqeqeq: "error",
  "no-use-before-define": ["error", { functions: false, classes: true, variables: true }],
  "no-unsafe-optional-chaining": "error",
  "no-promise-executor-return": "error",
  "array-callback-return": "error",
  "default-case-last": "error",
  "valid-typeof": "error",
  "use-isnan": "error",
};

export default [
  {
    files: ["snapsim/page/assets/*.js"],
    languageOptions: { sourceType: "script", globals: { ...globals.browser, Vue: "readonly" } },
    rules,
  },
  { files: ["tests/page/javascript/*.js"], languageOptions: { globals: globals.node }, rules },
];
