/* A whole table in one component: text and addresses of this dashboard only, never markup. */
window.discward = window.discward || {};

window.discward.PlainTable = function (props) {
  var make = React.createElement;
  function shown(cell) {
    if (!Array.isArray(cell)) {
      return cell;
    }
    return make("a", { href: cell[1], "data-filters": "kept" }, cell[0]);
  }
  var head = props.head.map(function (column, place) {
    return make("th", { key: place, scope: "col", className: column.side }, column.name);
  });
  var body = props.body.map(function (row, line) {
    var cells = row.map(function (cell, place) {
      var column = props.head[place];
      return make(
        "td",
        { key: place, className: column.side, "data-name": column.name },
        shown(cell)
      );
    });
    return make("tr", { key: line }, cells);
  });
  return make(
    "table",
    null,
    make("caption", null, props.caption),
    make("thead", null, make("tr", null, head)),
    make("tbody", null, body)
  );
};
