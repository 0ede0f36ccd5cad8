"""Makes the workbooks of this folder and the delimited logs that say the same.

    pip install xlsxwriter openpyxl odfpy xlwt && python make.py

Three libraries write one survey: xlsxwriter (.xlsx), odfpy (.ods), xlwt (.xls); openpyxl writes .xlsx with several days, and both it
and xlwt the same survey with dates that count from 1904. The workbooks in calc/ are the export of a spreadsheet program:

    for kind in xlsx xls ods; do soffice --headless --convert-to $kind --outdir calc survey.xlsx; done    # LibreOffice 7.4.7.2
Invented places and values.
"""
import csv
import datetime as dt

TITLE = ["Ledge 7, stems and marks", "crew of two, light wind"]
BASES = [("A", 60.500012, 8.250034, 812.34, 0.02), ("B", 60.500845, 8.251207, 815.92, 0.02)]
DAY = dt.date(2026, 6, 23)
# number, time, stand, plot, tree, slope distance, magnetic azimuth, inclination, note
SHOTS = [
    (1, dt.time(8, 20), "A", "P1", 1, 24.31, 12.4, -3.1, ""),
    (2, dt.time(8, 21, 30), "A", "P1", 2, 31.07, 48.9, 2.6, "forked"),
    (3, dt.time(8, 23), "A", "P1", 3, 18.66, 101.2, 0.4, ""),
    (4, dt.time(9, 2, 15), "B", "P2", 1, 40.12, 211.7, -6.8, ""),
    (5, dt.time(9, 4), "B", "P2", 2, 22.9, 275.3, 1.9, "leans"),
    (6, dt.time(9, 5, 45), "B", "P2", 3, 35.48, 303.6, 4.2, ""),
]
SINGLE = ["No", "Date", "Time", "Stand", "Plot", "Tree"]
SIGHT = ["Dist (m)", "Az mag", "Incl (deg)"]
NOTE = "battery low, wind from the west"
HIDDEN = 3  # index of the shot whose row is hidden


def plain():
    with open("bases.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["base", "lat_deg", "lon_deg", "ellipsoid_height_m", "sigma_horizontal_m"])
        writer.writerows(BASES)
    with open("shots.csv", "w", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(["shot", "date", "time", "base", "plot", "feature", "slope_distance_m", "magnetic_azimuth_deg", "inclination_deg", "Notes"])
        for number, time, stand, plot, tree, *rest in SHOTS:
            writer.writerow([number, DAY.isoformat(), time.isoformat(), stand, plot, tree, *rest])


def xlsx():
    import xlsxwriter
    book = xlsxwriter.Workbook("survey.xlsx", {"default_date_format": "yyyy-mm-dd"})
    cover = book.add_worksheet("Cover")
    for row, line in enumerate(["Survey of the ledge", "Read me first", "The days are on the sheets behind"]):
        cover.write(row, 0, line)
    stands = book.add_worksheet("Stands")
    for column, name in enumerate(["Stand", "Latitude", "Longitude", "H_ell (m)", "s H (m)"]):
        stands.write(0, column, name)
    for row, base in enumerate(BASES, 1):
        stands.write_row(row, 0, base)
    sheet = book.add_worksheet("Day 1")
    date, time, centre = (book.add_format(f) for f in ({"num_format": "dd.mm.yyyy"}, {"num_format": "hh:mm"}, {"align": "center"}))
    sheet.merge_range(0, 0, 0, 9, TITLE[0], centre)
    sheet.write(1, 0, TITLE[1])
    for column, name in enumerate(SINGLE):
        sheet.merge_range(3, column, 4, column, name, centre)
    sheet.merge_range(3, 6, 3, 8, "Sight", centre)
    sheet.write_row(4, 6, SIGHT)
    sheet.merge_range(3, 9, 4, 9, "Notes", centre)
    for i, (number, at, stand, plot, tree, distance, azimuth, inclination, note) in enumerate(SHOTS):
        row = 5 + i
        sheet.write(row, 0, number)
        sheet.write_datetime(row, 1, dt.datetime.combine(DAY, dt.time()), date)
        sheet.write_datetime(row, 2, dt.datetime.combine(dt.date(1899, 12, 31), at), time)
        sheet.write(row, 3, stand)
        if i % 3 == 0:
            sheet.merge_range(row, 4, row + 2, 4, plot, centre)
        sheet.write(row, 5, tree)
        if i == 1:  # a formula with the value that was stored with it
            sheet.write_formula(row, 6, "=30+1.07", None, distance)
        else:
            sheet.write(row, 6, distance)
        sheet.write_row(row, 7, [azimuth, inclination, note])
    sheet.set_row(5 + HIDDEN, None, None, {"hidden": True})
    sheet.write(11, 0, "Total")
    sheet.write_formula(11, 6, "=SUM(G6:G11)", None, sum(shot[5] for shot in SHOTS))
    sheet.write(13, 0, NOTE)
    book.close()


def ods():
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import CoveredTableCell, Table, TableCell, TableRow
    from odf.text import P
    book = OpenDocumentSpreadsheet()

    def cell(value, **more):
        if value is None or value == "":
            return TableCell(**more)
        if isinstance(value, (int, float)):
            made = TableCell(valuetype="float", value=value, **more)
        elif isinstance(value, dt.date):
            made = TableCell(valuetype="date", datevalue=value.isoformat(), **more)
        elif isinstance(value, dt.time):
            made = TableCell(valuetype="time", timevalue=value.strftime("PT%HH%MM%SS"), **more)
        else:
            made = TableCell(valuetype="string", **more)
        made.addElement(P(text=str(value)))
        return made

    def row(table, cells, **more):
        made = TableRow(**more)
        for one in cells:
            made.addElement(one)
        table.addElement(made)

    stands = Table(name="Stands")
    row(stands, [cell(name) for name in ["Stand", "Latitude", "Longitude", "H_ell (m)", "s H (m)"]])
    for base in BASES:
        row(stands, [cell(value) for value in base])
    book.spreadsheet.addElement(stands)
    sheet = Table(name="Day 1")
    row(sheet, [cell(TITLE[0], numbercolumnsspanned=10)] + [CoveredTableCell() for _ in range(9)])
    row(sheet, [cell(TITLE[1])])
    row(sheet, [TableCell()], numberrowsrepeated=1)
    row(sheet, [cell(name, numberrowsspanned=2) for name in SINGLE] + [cell("Sight", numbercolumnsspanned=3), CoveredTableCell(), CoveredTableCell(), cell("Notes", numberrowsspanned=2)])
    row(sheet, [CoveredTableCell() for _ in SINGLE] + [cell(name) for name in SIGHT] + [CoveredTableCell()])
    for i, (number, at, stand, plot, tree, distance, azimuth, inclination, note) in enumerate(SHOTS):
        plot_cell = cell(plot, numberrowsspanned=3) if i % 3 == 0 else CoveredTableCell()
        distance_cell = cell(distance, formula="of:=30+1.07") if i == 1 else cell(distance)
        more = {"visibility": "collapse"} if i == HIDDEN else {}
        row(sheet, [cell(number), cell(DAY), cell(at), cell(stand), plot_cell, cell(tree), distance_cell, cell(azimuth), cell(inclination), cell(note)], **more)
    row(sheet, [cell("Total")] + [TableCell() for _ in range(5)] + [cell(sum(shot[5] for shot in SHOTS), formula="of:=SUM([.G6:.G11])")])
    row(sheet, [TableCell()])
    row(sheet, [cell(NOTE)])
    book.spreadsheet.addElement(sheet)
    book.save("survey.ods")


def xls():
    import xlwt
    book = xlwt.Workbook(encoding="utf-8")
    stands = book.add_sheet("Stands")
    for column, name in enumerate(["Stand", "Latitude", "Longitude", "H_ell (m)", "s H (m)"]):
        stands.write(0, column, name)
    for row, base in enumerate(BASES, 1):
        for column, value in enumerate(base):
            stands.write(row, column, value)
    sheet = book.add_sheet("Day 1")
    date, time = xlwt.easyxf(num_format_str="DD.MM.YYYY"), xlwt.easyxf(num_format_str="HH:MM")
    sheet.write_merge(0, 0, 0, 9, TITLE[0])
    sheet.write(1, 0, TITLE[1])
    for column, name in enumerate(SINGLE):
        sheet.write_merge(3, 4, column, column, name)
    sheet.write_merge(3, 3, 6, 8, "Sight")
    for column, name in enumerate(SIGHT, 6):
        sheet.write(4, column, name)
    sheet.write_merge(3, 4, 9, 9, "Notes")
    for i, (number, at, stand, plot, tree, distance, azimuth, inclination, note) in enumerate(SHOTS):
        row = 5 + i
        sheet.write(row, 0, number)
        sheet.write(row, 1, DAY, date)
        sheet.write(row, 2, at, time)
        sheet.write(row, 3, stand)
        if i % 3 == 0:
            sheet.write_merge(row, row + 2, 4, 4, plot)
        for column, value in zip((5, 6, 7, 8, 9), (tree, distance, azimuth, inclination, note)):
            sheet.write(row, column, value)
    sheet.write(11, 0, "Total")
    sheet.write(11, 6, sum(shot[5] for shot in SHOTS))
    sheet.write(13, 0, NOTE)
    book.save("survey.xls")


def days():
    from openpyxl import Workbook
    book = Workbook()
    book.remove(book.active)
    for number, shots in ((1, SHOTS[:3]), (2, SHOTS[3:])):
        sheet = book.create_sheet(f"Plot P{number}")
        sheet.append(["No", "Date", "Time", "Stand", "Tree", "Dist (m)", "Az mag", "Incl (deg)", "Notes"])
        for shot in shots:
            sheet.append([shot[0], DAY, shot[1], shot[2], *shot[4:]])
    hidden = book.create_sheet("Old")
    hidden.sheet_state = "hidden"
    hidden.append(["No", "Date", "Time", "Stand", "Tree", "Dist (m)", "Az mag", "Incl (deg)", "Notes"])
    hidden.append([99, DAY, dt.time(7), "A", 9, 5, 5, 5, "an old try"])
    book.save("days_2026-06-23.xlsx")


def plain_rows(sheet_of):
    """The two tables without titles, for the workbooks whose dates count from 1904."""
    sheet_of("Stands", ["Stand", "Latitude", "Longitude", "H_ell (m)", "s H (m)"], BASES)
    header = ["No", "Date", "Time", "Stand", "Plot", "Tree", "Sight Dist (m)", "Sight Az mag", "Sight Incl (deg)"]
    sheet_of("Day 1", header, [(number, DAY, dt.datetime.combine(DAY, at), *rest[:-1]) for number, at, *rest in SHOTS])


def from_1904():
    from openpyxl import Workbook
    from openpyxl.utils.datetime import CALENDAR_MAC_1904
    book = Workbook()
    book.remove(book.active)
    book.epoch = CALENDAR_MAC_1904

    def sheet_of(name, header, rows):
        sheet = book.create_sheet(name)
        for row in [header, *rows]:
            sheet.append(row)
    plain_rows(sheet_of)
    book.save("from_1904.xlsx")

    import xlwt
    old = xlwt.Workbook(encoding="utf-8")
    old.dates_1904 = True
    formats = {dt.date: xlwt.easyxf(num_format_str="DD.MM.YYYY"), dt.datetime: xlwt.easyxf(num_format_str="DD.MM.YYYY HH:MM:SS")}

    def old_sheet_of(name, header, rows):
        sheet = old.add_sheet(name)
        for i, row in enumerate([header, *rows]):
            for j, value in enumerate(row):
                sheet.write(i, j, value, *([formats[type(value)]] if type(value) in formats else []))
    plain_rows(old_sheet_of)
    old.save("from_1904.xls")


if __name__ == "__main__":
    plain(), xlsx(), ods(), xls(), days(), from_1904()
