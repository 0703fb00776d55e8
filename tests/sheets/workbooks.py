"""Writes tables of text as workbooks, with general-purpose libraries that write what the app reads."""

import io

import openpyxl
import xlwt
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P


def write_xlsx(table: list[list[str]]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for row in table:
        sheet.append(row)
        for cell in sheet[sheet.max_row]:
            cell.data_type = "s" if cell.value else "n"  # a text that begins with = or # is a text
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def write_ods(table: list[list[str]]) -> bytes:
    document = OpenDocumentSpreadsheet()
    sheet = Table(name="fits")
    for row in table:
        line = TableRow()
        for text in row:
            cell = TableCell(valuetype="string", stringvalue=text) if text else TableCell()
            if text:
                cell.addElement(P(text=text))
            line.addElement(cell)
        sheet.addElement(line)
    document.spreadsheet.addElement(sheet)
    stream = io.BytesIO()
    document.write(stream)
    return stream.getvalue()


def write_xls(table: list[list[str]]) -> bytes:
    book = xlwt.Workbook()
    sheet = book.add_sheet("fits")
    for number, row in enumerate(table):
        for column, text in enumerate(row):
            if text:
                sheet.write(number, column, text)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()
